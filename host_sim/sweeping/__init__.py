"""Many rides of one bike with varied numbers: which points, what is measured, where the rides run.

May import bikes, bench and rules, not the command line. Any process computes the same points and measures, so
a request gives the same table wherever its rides run.
"""
