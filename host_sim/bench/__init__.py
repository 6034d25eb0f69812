"""Rides a bicycle in virtual time: world, simulated board, rides, faults, recordings, traces.

This folder connects the firmware and the plant. Physics without a controller is in `plant`, rules that rides
must keep are in `rules`, pictures are in `report`.
"""
