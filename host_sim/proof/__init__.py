"""Machine-checked proofs on the unmodified firmware: its steps run on symbols instead of numbers.

`symbolic.py` has integers and booleans that stand for all their values; `explorer.py` runs a function
once for every path that it can take; `properties.py` lists what is proved. z3 decides (extra `proof`).
"""
