"""Which form of the firmware this board runs; the numbers are in `firmware/link/telemetry.py`.

A bundle puts its own number here.
"""

FORM = 0
