"""A guided capture of a pedal sensor, live from a board."""
