"""What generated viper functions need of MicroPython, for CPython: decorators, and pointers into an array.

A pointer refuses places outside of the array and before its start, where the real one would reach elsewhere.
"""

import builtins


class Pointer:
    """Counts bytes as the real one does; elements are of 32 bits."""

    def __init__(self, cells, at=0):
        self._cells = cells
        self._at = at

    def __add__(self, count):
        assert count % 4 == 0
        return Pointer(self._cells, self._at + count // 4)

    def __getitem__(self, place):
        assert place >= 0
        return self._cells[self._at + place]

    def __setitem__(self, place, value):
        assert place >= 0
        self._cells[self._at + place] = value


def viper(function):
    """Leave a function as it is."""
    return function


native = viper
builtins.ptr32 = lambda pointer: pointer
builtins.ptr8 = lambda content: content
builtins.uint = Pointer
