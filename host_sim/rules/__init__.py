"""Rules that a bicycle must meet, and how they are measured."""
