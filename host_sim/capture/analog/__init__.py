"""Captures in volts: an oscilloscope's recording of a Hall output as edges, and each magnet's strength."""
