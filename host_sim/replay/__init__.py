"""Logs of the inputs of a board's steps, and replay of the firmware through them."""
