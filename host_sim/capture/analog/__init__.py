"""Captures in volts: what an oscilloscope saw of a Hall output, as edges, and what it says of each magnet."""
