"""Rules that a bicycle must keep, and the limits of places."""
