"""Writes measured numbers into a bike file; its comments and everything else stay unchanged.

A comment on each line says how the number was measured, with its interval.
"""

import os
import tempfile
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Table

from host_sim.bikes.guess_marks import without_guess_marks
from host_sim.bikes.load import BIKES, load_bike
from host_sim.errors import RequestError
from host_sim.measuring.estimate import Estimate
from host_sim.textfile import TOML_BYTES_MAX, find_file, read_text, spoken

# Number of `treadle measure` -> section and key of the bike file.
PLACES = {
    "crr": ("bicycle", "rolling_coefficient"),
    "cda_m2": ("bicycle", "drag_area_m2"),
    "wheel_circumference_m": ("bicycle", "wheel_circumference_m"),
    "pack_resistance_ohm": ("battery", "resistance_ohm"),
    "torque_constant_nm_per_a": ("motor", "torque_constant_nm_per_a"),
    "motor_resistance_ohm": ("motor", "resistance_ohm"),
    "no_load_current_a": ("motor", "no_load_current_a"),
    "motor_current_limit_a": ("motor", "current_limit_a"),
    "command_start_v": ("motor_controller", "start_v"),
    "command_full_v": ("motor_controller", "full_v"),
    "controller_lag_s": ("motor_controller", "lag_s"),
}


def bike_path(bike_given: str) -> Path:
    """Return the bike file by path or example name; RequestError if there is none."""
    return find_file(bike_given, BIKES, (".toml",), "bike")


def written_text(source: str, found: dict[str, tuple[Estimate, str]], kind: str = "") -> str:
    """Return the text of a bike file with new numbers; `found` has each, and how it was measured.

    `kind` is that of the motor controller, empty if not measured.
    """
    document = tomlkit.parse(source)
    for name, (estimate, how) in found.items():
        if name not in PLACES:
            continue
        section, key = PLACES[name]
        table = document[section]
        if isinstance(table, Table):
            old = table[key].trivia.comment.lstrip("# ")
            earlier = old.split("; before: ")[-1] if old.startswith("measured") else old
            table[key] = float(f"{estimate.value:.4g}")
            note = f"measured by {how}, 95 % {estimate.low:.4g} to {estimate.high:.4g}"
            table[key].comment(f"{note}; before: {earlier}" if earlier else note)
    controller = document["motor_controller"] if kind else None
    if isinstance(controller, Table) and controller["kind"] != kind:
        before = controller["kind"]
        controller["kind"] = kind
        controller["kind"].comment(f"measured by stand run; before: {before}")
    measured = {".".join(PLACES[name]) for name in found if name in PLACES}
    measured |= {"motor_controller.kind"} if kind else set()
    return without_guess_marks(tomlkit.dumps(document), measured)


def write_numbers(path: Path, found: dict[str, tuple[Estimate, str]], kind: str = "") -> None:
    """Replace the bike file if it is valid with the new numbers; RequestError leaves it unchanged."""
    try:
        text = written_text(read_text(path, TOML_BYTES_MAX), found, kind)
    except TOMLKitError as error:
        raise RequestError(f"{spoken(path.name)}: this is not TOML: {error}") from None
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-unfinished-", suffix=".toml", dir=path.parent)
        temporary = Path(name)
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
        load_bike(temporary)
        temporary.chmod(path.stat().st_mode & 0o777)
        os.replace(temporary, path)
    except OSError as error:
        raise RequestError(f"{spoken(path)} can't be written: {error.strerror or error}") from None
    except RequestError as error:
        reason = str(error).replace(Path(name).name, path.name)
        raise RequestError(
            f"with the measured numbers the file would be invalid, so it stays unchanged: {reason}"
        ) from None
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
