"""Many rides of one bike with other numbers: which points, what is measured, where the work is done.

May import bikes, bench and rules; nothing of the command line. Points and measures are computed alike in any
process, so the same request gives the same table wherever its rides run.
"""
