"""Mutants of the generated C that change nothing that anybody could see, and why."""

SURVIVORS: dict[str, str] = {}
