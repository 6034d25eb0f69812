"""An oscilloscope on Hall elements: volts by the field of passing magnets, and what spoils them."""
