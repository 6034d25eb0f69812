"""What a board says to a host and keeps for itself: telemetry frames, console requests, stored settings.

All of it runs in the time between steps. Telemetry takes no memory. The console and the store do, and
therefore act only while the bicycle stands and nothing drives. Files, clocks and ports are the board's:
it hands over a `Storage` and a `Port`.
"""
