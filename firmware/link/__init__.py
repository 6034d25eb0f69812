"""What a board sends to a host and stores: telemetry frames, console answers, settings.

All of it runs in the time between steps. Telemetry allocates no memory. The console and the store do, so
they act only while the bicycle stands and nothing drives. Files, clocks and ports belong to the board:
it provides a `Storage` and a `Port`.
"""
