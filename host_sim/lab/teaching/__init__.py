"""Aims, times, notes and solutions of the lessons, for teachers."""

from importlib import import_module

from host_sim.lab.catalogue import NAMES, check_number
from host_sim.lab.teaching.description import Teaching


def teaching(number: int) -> Teaching:
    """Return the teacher's part of a lesson; RequestError if there is no such lesson."""
    read: Teaching = import_module(f"host_sim.lab.teaching.{NAMES[check_number(number) - 1]}").TEACHING
    return read
