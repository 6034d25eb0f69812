"""The firmware in other languages: a translator of the subset of Python that `firmware/` is written in."""
