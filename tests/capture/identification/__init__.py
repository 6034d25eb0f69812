"""How often an inspection is right, for captures made on the bench with known rings and faults.

Only this folder of `tests/capture` uses the bench. `python -m tests.capture.identification` rides
the grid and prints the table of `host_sim/capture/README.md`.
"""
