"""Logs of what a board's steps were given, and the firmware stepped through them again."""
