"""Independent checks: fault detection with a latch, and the last gate before the output."""
