"""The wiring sheet of one bike on one board: parts, pins, drawing, and what to measure before power."""
