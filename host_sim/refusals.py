"""Refusals in words: the value in a file, what is allowed there, and the closest known name.

pydantic reports errors as codes; a user gets one sentence. The allowed values are taken from the models
themselves, so each range is written only once.
"""

from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic import BaseModel
from pydantic_core import ErrorDetails

from host_sim.near_names import nearest

_SHOWN_MAX = 40  # A value is shown up to this many characters.
# The longest suffix that fits says the unit. What is not here is a pure number.
_UNITS = {
    "_m_per_s": "m/s",
    "_m_per_s2": "m/s²",
    "_km_per_h": "km/h",
    "_kg_m2": "kg·m²",
    "_nm_per_a": "N·m/A",
    "_k_per_w": "K/W",
    "_j_per_k": "J/K",
    "_v": "V",
    "_a": "A",
    "_w": "W",
    "_ah": "Ah",
    "_ohm": "ohm",
    "_nm": "N·m",
    "_kg": "kg",
    "_m": "m",
    "_m2": "m²",
    "_s": "s",
    "_rpm": "rpm",
    "_deg": "degrees",
    "_percent": "percent",
    "_celsius": "°C",
}


def sentence(error: ErrorDetails, model: type[BaseModel]) -> str:
    """Put one pydantic error into words."""
    key = place_of(error["loc"])
    kind = error["type"]
    if kind == "value_error":
        # Our own sentences about keys that must fit each other name their keys themselves.
        return str(error["ctx"]["error"])
    if kind == "extra_forbidden":
        return _unknown_key(key, error["loc"], model)
    allowed = allowed_at(error["loc"], model)
    if kind == "missing":
        return f"{key} is missing, allowed is {allowed}"
    if kind == "literal_error":
        allowed += _near_choice(error["input"], error["loc"], model)
    return f"{key} is {shown(error['input'])}, allowed is {allowed}"


def place_of(location: tuple[int | str, ...]) -> str:
    """Return a key path in words: ("stretch", 1, "brake") is `stretch 2.brake`, counted from 1."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f" {part + 1}"
        else:
            text += f".{part[:60]}" if text else part[:60]
    return text


def shown(value: object) -> str:
    """Return a TOML value as a user would write it, cut to a readable length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "an empty list" if not value else f"a list of {len(value)}"
    try:
        text = f'"{value}"' if isinstance(value, str) else str(value)
    except ValueError:  # A number of more digits than Python prints.
        return "a number of thousands of digits"
    text = " ".join(text.split())
    return text if len(text) <= _SHOWN_MAX else text[:_SHOWN_MAX] + "…"


def closest(name: str, names: list[str]) -> str:
    """Return `, did you mean X?` where a known name is near, else the list of known names."""
    near = nearest(name, names)
    return f"did you mean {near}?" if near else f"allowed is {', '.join(sorted(names))}"


def _unknown_key(key: str, location: tuple[int | str, ...], model: type[BaseModel]) -> str:
    table = _model_at(location[:-1], model)
    names = list(table.model_fields) if table else []
    return f"{key} is not a known key, {closest(str(location[-1]), names)}"


def _model_at(location: tuple[int | str, ...], model: type[BaseModel]) -> type[BaseModel] | None:
    """Return the model that describes the table at `location`."""
    kind = _type_at(location, model)[0]
    return kind if isinstance(kind, type) and issubclass(kind, BaseModel) else None


def _type_at(location: tuple[int | str, ...], model: type[BaseModel]) -> tuple[Any, list[Any]]:
    """Return the type and the limits that the models declare at `location`."""
    kind: Any = model
    limits: list[Any] = []
    for part in location:
        if isinstance(part, int):
            inside = get_args(kind)
            kind, limits = _bare(inside[0]) if inside else (None, [])
        elif isinstance(kind, type) and issubclass(kind, BaseModel) and part in kind.model_fields:
            field = kind.model_fields[part]
            kind, limits = _bare(field.annotation)
            limits = list(field.metadata) + limits
        elif get_origin(kind) is dict:
            kind, limits = _bare(get_args(kind)[1])
    return kind, limits


def _bare(annotation: Any) -> tuple[Any, list[Any]]:
    """Strip `Annotated` and `| None` from a type; return it and the limits found on the way."""
    limits: list[Any] = []
    while True:
        if get_origin(annotation) is Annotated:
            annotation, *extra = get_args(annotation)
            for one in extra:
                limits += list(getattr(one, "metadata", [one]))
        elif get_origin(annotation) in (Union, UnionType):
            annotation = next(one for one in get_args(annotation) if one is not type(None))
        else:
            return annotation, limits


def _near_choice(value: object, location: tuple[int | str, ...], model: type[BaseModel]) -> str:
    """Return `, did you mean "X"?` where one of a few allowed words is near."""
    near = nearest(str(value), map(str, get_args(_type_at(location, model)[0])))
    return f', did you mean "{near}"?' if near else ""


def allowed_at(location: tuple[int | str, ...], model: type[BaseModel]) -> str:
    """Return in words what is allowed at `location`."""
    kind, limits = _type_at(location, model)
    names = [str(part) for part in location if isinstance(part, str)]
    unit = _unit(names[-1]) if names else ""
    if get_origin(kind) is Literal:
        return _either([shown(one) for one in get_args(kind)])
    if kind is bool:
        return "true or false"
    if kind is str:
        return "a text in quotes" + _length(limits, "characters")
    if kind in (int, float):
        return _range(kind, limits) + unit
    if get_origin(kind) is list:
        inside, inside_limits = _bare(get_args(kind)[0])
        what = _range(inside, inside_limits) + unit if inside in (int, float) else "tables"
        return f"a list{_length(limits, 'entries')}" + (
            f", each {what}" if inside in (int, float) else f" of {what}"
        )
    return "a table"


def _range(kind: Any, limits: list[Any]) -> str:
    low = next(
        (one.ge if isinstance(one, Ge) else one.gt for one in limits if isinstance(one, Ge | Gt)), None
    )
    high = next(
        (one.le if isinstance(one, Le) else one.lt for one in limits if isinstance(one, Le | Lt)), None
    )
    text = f"{low:g} to {high:g}" if low is not None and high is not None else "any number"
    return f"a whole number, {text}" if kind is int else text


def _length(limits: list[Any], what: str) -> str:
    low = next((one.min_length for one in limits if isinstance(one, MinLen)), 0)
    high = next((one.max_length for one in limits if isinstance(one, MaxLen)), None)
    return f" of {low} to {high} {what}" if high is not None else ""


def _unit(name: str) -> str:
    fitting = [suffix for suffix in _UNITS if name.endswith(suffix)]
    return f" ({_UNITS[max(fitting, key=len)]})" if fitting else ""


def _either(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]
