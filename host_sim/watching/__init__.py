"""Watches a board that rides: finds its port, keeps what its frames tell, records them, shows them.

Here lives what `treadle watch` needs beyond the link itself (`host_sim/boardlink`). Nothing here changes a
board but by the console's requests, and nothing here computes what the firmware has computed already. One
thing is worked out on this side, because the firmware does not look for it: missed magnets.
"""
