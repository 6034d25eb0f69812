"""What `treadle inspect` does with a capture: read, diagnose, draw, and put what is sure into a bike file."""
