"""Measures numbers of a bicycle from logs: each with an interval, or the reason why there is none."""
