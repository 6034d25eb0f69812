"""Connects the firmware to real boards: pins, converters, interrupts, files and the port. No logic."""
