"""TOML files that users write: read strictly, and refuse in one sentence.

A file is described by pydantic models derived from `Table`. A wrong file gives a RequestError that names
the file, the key, the value and what is allowed, as in
`cargo_trike.toml: motor.resistance_ohm is -1, allowed is 0.01 to 5 (ohm)`.
"""

import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from host_sim.errors import RequestError
from host_sim.refusals import sentence
from host_sim.textfile import TOML_BYTES_MAX, read_text, spoken

Model = TypeVar("Model", bound="Table")


class Table(BaseModel):
    """A TOML table: unknown keys, nearly right types, infinities and not-a-numbers are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


def within(low: float, high: float, default: float | None = None) -> Any:
    """Return the field of a number from `low` to `high`, both allowed; without a default it must be given."""
    if default is None:
        return Field(ge=low, le=high)
    return Field(default=default, ge=low, le=high)


def load(path: Path, model: type[Model]) -> Model:
    """Read `path` into `model`, or raise RequestError with one sentence."""
    return check(read_toml(path), model, spoken(path.name))


def read_toml(path: Path) -> dict[str, Any]:
    """Return the tables of a TOML file, or raise RequestError that names the line."""
    text = read_text(path, TOML_BYTES_MAX)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # ValueError also covers errors that tomllib passes on: 31 February, a number of 5000 digits.
        reason = "its values are nested too deep" if isinstance(error, RecursionError) else str(error)
        raise RequestError(f"{spoken(path.name)}: this is not TOML: {reason}") from error


def check(data: dict[str, Any], model: type[Model], file_name: str) -> Model:
    """Return `data` as a `model`, or raise RequestError with one sentence."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        details = error.errors(include_url=False)
        # A misspelt key is both unknown and missing; the unknown one shows the spelling.
        first = next((one for one in details if one["type"] == "extra_forbidden"), details[0])
        raise RequestError(f"{file_name}: {sentence(first, model)}") from None
