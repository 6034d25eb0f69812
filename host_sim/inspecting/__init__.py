"""`treadle inspect`: reads a capture, diagnoses it, draws it, and writes certain findings to a bike file."""
