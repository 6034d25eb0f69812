"""What the crank should do with an edge that waits, and with one that has lasted."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.exact import since_us
from host_sim.proof.whole.exact_crank import seen_levels
from host_sim.proof.whole.exact_edges import shortest_pitch_us
from host_sim.proof.whole.joining import Case, Joined, Joining, always
from host_sim.proof.whole.ranges import STAMP
from host_sim.proof.whole.terms import add, at_least, both, divide, equal, modulo, negate


def _lasted(call: Joined, name: str) -> Any:
    """Tell whether the edge that waits has lasted a sixteenth of the shortest pitch at that time."""
    span_us = since_us(call.of(name), call.of("_pending_us"))
    return both(call.of("_pending"), at_least(span_us, divide(shortest_pitch_us(call), 16)))


def _vanished(call: Joined) -> Any:
    return both(call.of("_pending"), negate(_lasted(call, "time_us")))


def _again(call: Joined) -> Any:
    return equal(seen_levels(call), call.of("_pending_levels"))


def _of_its_own(method: str, *arguments: str) -> Any:
    """Return what has an exact contract of its own: the call itself."""
    return lambda call: call.play("", method, *(call.read(name) for name in arguments))


def _accepts(call: Joined) -> None:
    call.put(_pending=False)
    call.play("", "_accept", call.read("_pending_levels"), call.read("_pending_us"))


def _accepts_and_waits(call: Joined) -> None:
    _accepts(call)
    call.play("", "edge", call.read("levels"), call.read("time_us"))


def _rejects_and_waits(call: Joined) -> None:
    call.put(_pending=False, rejected=modulo(add(call.of("rejected"), 1), 0x10000))
    call.play("", "edge", call.read("levels"), call.read("time_us"))


def _accepts_and_settles(call: Joined) -> None:
    _accepts(call)
    call.play("", "settle", call.read("now_us"))


def _settles_beside(call: Joined) -> None:
    """Settle as if nothing were pending; what is pending stays."""
    pending = call.read("_pending")
    call.put(_pending=False)
    call.play("", "settle", call.read("now_us"))
    call.put(_pending=pending)


def _takes(method: str, levels_too: bool = False) -> Any:
    def accepted(call: Joined) -> None:
        levels, time_us = call.read("levels"), call.read("time_us")
        changed = terms.bitwise("^", levels, call.store[call.key_of("levels")])
        call.whole.store[call.key_of("levels")] = levels
        call.put(_last_edge_us=time_us, standing=False)
        call.play("", method, *((levels, changed) if levels_too else (levels,)), time_us)
        call.put(_started=True)

    return accepted


def _accept(kind: int, then: Any) -> Joining:
    levels = (0, 3) if kind == 0 else (0, 1)
    arguments = {"levels": levels, "time_us": STAMP}
    return Joining("Crank._accept", "sense.crank", arguments, (always(then),), kinds=(kind,))


EDGE: dict[str, Any] = {"levels": (0, 3), "time_us": STAMP}
JOINS_CRANK = (
    Joining(
        "Crank.edge",
        "sense.crank",
        EDGE,
        (
            Case(
                "no edge waits",
                lambda call: negate(call.of("_pending")),
                _of_its_own("edge", "levels", "time_us"),
            ),
            Case("one has lasted", lambda call: _lasted(call, "time_us"), _accepts_and_waits),
            Case("one comes again", lambda call: both(_vanished(call), _again(call)), lambda call: None),
            Case(
                "one has vanished",
                lambda call: both(_vanished(call), negate(_again(call))),
                _rejects_and_waits,
            ),
        ),
        kinds=(0, 1, 2),
    ),
    Joining(
        "Crank.settle",
        "sense.crank",
        {"now_us": STAMP},
        (
            Case("an edge has lasted", lambda call: _lasted(call, "now_us"), _accepts_and_settles),
            Case("none has", lambda call: negate(_lasted(call, "now_us")), _settles_beside),
        ),
        kinds=(0, 1, 2),
    ),
    _accept(0, _takes("_two_channels", levels_too=True)),
    _accept(1, _takes("_one_channel")),
    _accept(2, _takes("_duty_coded")),
)
