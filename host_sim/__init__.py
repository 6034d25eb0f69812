"""The host side of Treadle, on CPython: physics, bench, rules, files and commands. Floats in SI units."""
