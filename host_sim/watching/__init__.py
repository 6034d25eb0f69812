"""Watches a riding board: reads its frames, records them, and shows them.

This is what `treadle watch` needs in addition to the link itself (`host_sim/boardlink`). Code here changes a
board only by the console's requests, and computes nothing that the firmware has already computed. Only missed
magnets are detected on this side, because the firmware does not detect them.
"""
