"""The command line: parse, call, print. One file for each command; nothing is computed here."""

from host_sim.cli.program import main

__all__ = ["main"]
