"""The type of a constant, from its value."""

from host_sim.forms.model import BOOL, INT, TEXT, Type, Value


def type_of_value(value: Value) -> Type:
    """Return the type of a constant; a table has lengths as far as all its rows are equally long."""
    if isinstance(value, bool):
        return BOOL
    if isinstance(value, int):
        return INT
    if isinstance(value, str):
        return TEXT
    kinds = {type_of_value(element) for element in value}
    if len(kinds) != 1:
        return Type("table", "mixed", (len(value),))
    (kind,) = kinds
    if kind.kind == "table":
        return Type("table", kind.name, (len(value), *kind.dims))
    return Type("table", kind.kind, (len(value),))
