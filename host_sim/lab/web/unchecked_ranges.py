"""Replaces annotated_types in a browser: the names of ranges, which are not used there."""


class Ge:
    """At least."""


class Gt:
    """More than."""


class Le:
    """At most."""


class Lt:
    """Less than."""


class MinLen:
    """Not shorter than."""


class MaxLen:
    """Not longer than."""
