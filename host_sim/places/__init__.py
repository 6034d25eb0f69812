"""Limits of places: power, speed, throttle, each with its clause and date."""
