"""Replaces pydantic in a browser: builds the models of this project from tables, and checks nothing.

The export packs this file as `pydantic`, because the real one has a compiled part that takes seconds to
load there. Its data has already been checked: example files of this project, and inputs of a lesson,
which `host_sim.lab.description` checks. Nothing else may be built with it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import UnionType
from typing import Annotated, Any, Self, Union, get_args, get_origin, get_type_hints

_MISSING: Any = object()


class ValidationError(ValueError):
    """Never raised: nothing is checked."""


@dataclass(frozen=True, slots=True)
class _Given:
    """The part of Field and PrivateAttr that matters without checks: the default."""

    default: Any


def Field(*, default: Any = _MISSING, **_: Any) -> Any:  # noqa: N802 - the name that is imported
    """Return a field with a default, or one that must be given."""
    return _Given(default)


PrivateAttr = Field


def ConfigDict(**options: Any) -> dict[str, Any]:  # noqa: N802 - the name that is imported
    """Return the options, which change nothing here."""
    return options


class BaseModel:
    """A table with attributes."""

    @classmethod
    def model_validate(cls, data: Mapping[str, Any]) -> Self:
        """Return a model of `data`; inner tables become models too."""
        made = cls.__new__(cls)
        itself: Any = cls
        for name, kind in _kinds(itself).items():
            given = getattr(cls, name, _MISSING)
            default = given.default if isinstance(given, _Given) else given
            value = _as_kind(data[name], kind) if name in data else default
            if value is _MISSING:
                raise KeyError(f"{cls.__name__} wants {name}")
            made.__dict__[name] = value
        return made

    def model_dump(self, *, exclude: Iterable[str] = (), exclude_none: bool = False) -> dict[str, Any]:
        """Return the fields as a table, without private ones."""
        left_out = set(exclude)
        return {
            name: value
            for name, value in self.__dict__.items()
            if not name.startswith("_") and name not in left_out and not (exclude_none and value is None)
        }


@lru_cache(maxsize=256)
def _kinds(cls: Any) -> dict[str, Any]:
    kinds = get_type_hints(cls, include_extras=True)
    kinds.pop("model_config", None)
    return kinds


def _as_kind(value: Any, kind: Any) -> Any:
    """Return `value` as its annotation says: models inside tables, lists and dictionaries."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Annotated:
        return _as_kind(value, inner[0])
    if origin in (Union, UnionType):
        return value if value is None else _as_kind(value, inner[0])
    if origin is list:
        return [_as_kind(one, inner[0]) for one in value]
    if origin is dict:
        return {key: _as_kind(one, inner[1]) for key, one in value.items()}
    if isinstance(kind, type) and issubclass(kind, BaseModel) and isinstance(value, Mapping):
        return kind.model_validate(value)
    # A whole number in a file becomes a float if the model has a float.
    return float(value) if kind is float and isinstance(value, int) else value
