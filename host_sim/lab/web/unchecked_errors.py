"""Replaces pydantic_core in a browser: the one name that this project imports from there."""

ErrorDetails = dict[str, object]
