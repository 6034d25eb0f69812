"""The lessons, one description each."""
