"""How often an inspection is right: captures made on the bench, with known rings and faults.

This is the one place under `capture` that knows the bench. `python -m tests.capture.identification` rides
the grid and prints the table of `host_sim/capture/README.md`.
"""
