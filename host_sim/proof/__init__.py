"""Machine-checked proofs on the unmodified firmware: its steps are run on symbols instead of numbers.

`symbolic.py` are integers and truths that stand for all their values; `explorer.py` runs a function
once for every path that can be taken; `properties` is what is proved. z3 decides (extra `proof`).
"""
