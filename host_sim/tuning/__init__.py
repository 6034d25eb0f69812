"""Computes settings: identifies the plant on the bench, chooses settings, and measures every choice again."""
