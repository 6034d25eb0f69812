"""Captures of a wheel sensor, made from a turning wheel; shares no code with what is tested."""
