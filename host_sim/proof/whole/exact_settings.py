"""Which settings are accepted: those of the table in range and in order; a controller takes all of them."""

from typing import Any

from firmware.settings import ASCENDING, FIRST_PITCH_EDGES, TABLE
from host_sim.proof.whole import terms
from host_sim.proof.whole.interpreter import Interpreter
from host_sim.proof.whole.invariants import Clause
from host_sim.proof.whole.program import Stamp
from host_sim.proof.whole.terms import at_least, at_most, equal, every, implies, less, negate


def settings_pieces() -> list[tuple[list[Any], list[Clause]]]:
    """Return that exactly the legal settings are accepted, each of any value from one below its range on."""
    whole = Interpreter()
    values: dict[str, Any] = {row[0]: terms.integer(row[0], row[2] - 1, row[3] + 1) for row in TABLE}
    settings = whole.build("firmware.settings", "Settings", values)
    accepted = negate(whole.raised)
    legal = every(
        *(every(at_least(values[name], low), at_most(values[name], high)) for name, _, low, high, _ in TABLE),
        *(less(values[lower], values[higher]) for lower, higher in ASCENDING),
        *(
            implies(equal(values["sensor_kind"], kind), at_least(values["engage_edges"], least))
            for kind, least in enumerate(FIRST_PITCH_EDGES)
        ),
    )
    claims = [("the settings that are accepted are the legal ones", terms.same(accepted, legal))]
    claims += [
        (f"{name} is kept", implies(legal, equal(whole.get(settings, name), values[name]))) for name in values
    ]
    return [([], claims), _controller_accepts()]


def _controller_accepts() -> tuple[list[Any], list[Clause]]:
    """Return that a controller can be built with all settings that are accepted."""
    whole = Interpreter()
    values: dict[str, Any] = {row[0]: terms.integer(row[0], row[2], row[3]) for row in TABLE}
    settings = whole.build("firmware.settings", "Settings", values)
    accepted, whole.raised = negate(whole.raised), False
    whole.build("firmware.controller", "Controller", settings, Stamp(0))
    return [accepted], [("a controller takes all settings that are accepted", negate(whole.raised))]
