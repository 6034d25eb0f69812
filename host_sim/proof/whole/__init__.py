"""The whole step as one formula, with all settings symbolic, and what is shown of it."""
