"""Rides a bicycle in virtual time: world, simulated board, rides, faults, recordings, traces.

Here lives what joins the firmware and the plant. Physics without a controller is in `plant`; what a
ride must hold is in `rules`; pictures are in `report`.
"""
