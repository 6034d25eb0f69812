"""Captures of a wheel sensor: pulses a turn, lost and doubled pulses, motor noise."""
