"""Own loop: a pupil's controller of about fifteen lines, ridden and checked against three rules.

A controller here is a function `step(edges, brake)` that is called every 5 ms and returns the command voltage
in mV. It sees less than the firmware does and can't be used on a bicycle; three rules and a few rides prove
nothing. The lesson is that each rule is easy to break.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from host_sim.bench.foreign import COMMAND_MAX_MV, Foreign
from host_sim.errors import RequestError
from host_sim.lab.own_words import FILE, explained
from host_sim.lab.riding import Lines, Ridden, lesson_bike, ride
from host_sim.report.samples import Samples

START_S, STOP_S, AGAIN_S, BRAKE_S, RELEASE_S, END_S = 1.2, 5.0, 6.5, 9.5, 10.3, 10.6
PHASES_S = (0.0, 0.07, 0.14)  # Pedalling stops and the brake is pulled at several places of a turn.
HELP_W, HELP_MOST_S = 100.0, 2.0
CUT_MOST_M = 2.0  # EN 15194:2017, by a parallel text: 2 m with brake switches, as these levers have.
BRAKE_MOST_S = 0.1  # Common practice, no source.
CODE_MOST = 8_000
LINES_MOST = 20
START_CODE = """\
quiet = 200   # steps since the last edge
command = 0   # mV; the motor turns from 1100 on

def step(edges, brake):
    # edges since the last step; brake pulled or not
    global quiet, command
    quiet = quiet + 1
    if edges > 0:
        quiet = 0
    if quiet < 200:
        command = command + 10
    else:
        command = 0
    command = min(command, 3600)
    return command
"""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule on all rides: its name, the worst that was measured, what is allowed, and whether it held."""

    name: str
    measured: str
    allowed: str
    held: bool


@dataclass(frozen=True, slots=True)
class Owned:
    """The results of the rides. `said` is what the controller printed."""

    ridden: Ridden
    rules: tuple[Rule, ...]
    said: tuple[str, ...]


class _Inner:
    """The pupil's function as a controller that the bench can ride."""

    def __init__(self, step: Callable[[int, bool], Any]) -> None:
        self._step = step
        self._outputs = Outputs()

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        """Count the edges, call the function, and check the answer."""
        edges = 0
        while inputs.crank.take():
            edges += 1
        while inputs.wheel.take():
            pass
        answer = self._step(edges, inputs.brake_pulled)
        if isinstance(answer, bool) or not isinstance(answer, (int, float)) or answer != answer:
            raise _WrongAnswerError(f"step returned {str(answer)[:40]!r}, allowed is a number of mV")
        if not 0 <= answer <= COMMAND_MAX_MV:
            raise _WrongAnswerError(f"step returned {str(answer)[:40]}, allowed is 0 to {COMMAND_MAX_MV} mV")
        self._outputs.command_mv = int(answer)
        self._outputs.drive_enabled = self._outputs.command_mv > 0
        return self._outputs


class _WrongAnswerError(Exception):
    """The pupil's function returned something that no board could carry out."""


def ride_own(code: str) -> Owned:
    """Ride a pupil's controller; RequestError explains what is wrong with the code, with its line."""
    if len(code) > CODE_MOST:
        raise RequestError(f"the code has {len(code)} characters, allowed is {CODE_MOST}")
    said: list[str] = []
    ridden = [_ride(code, phase_s, said) for phase_s in PHASES_S]
    return Owned(ridden[0], _rules(ridden), tuple(said))


def _made(code: str, said: list[str]) -> Callable[[int, bool], Any]:
    """Run the code once, as at power-up, and return its function `step`."""

    def print_here(*words: object, **_: object) -> None:
        if len(said) < LINES_MOST:
            said.append(" ".join(str(word)[:80] for word in words)[:200])

    names: dict[str, Any] = {"__name__": "own_loop", "print": print_here}
    exec(compile(code, FILE, "exec"), names)  # In a process or a worker of its own.
    step = names.get("step")
    if not callable(step):
        raise _WrongAnswerError("there is no function named step; it begins with `def step(edges, brake):`")
    made: Callable[[int, bool], Any] = step
    return made


def _ride(code: str, phase_s: float, said: list[str]) -> Ridden:
    """Ride once: start, stop, start again, brake; `phase_s` delays the stop and the brake."""

    def build(settings: Settings, now_us: int) -> Foreign:
        return Foreign(_Inner(_made(code, said)), "own loop", settings, now_us)

    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": START_S, "cadence_rpm": 60},
        {"at_s": STOP_S + phase_s, "cadence_rpm": 0},
        {"at_s": AGAIN_S, "cadence_rpm": 60},
        {"at_s": BRAKE_S + phase_s, "brake": True},
        {"at_s": RELEASE_S, "brake": False},
    ]
    try:
        return ride(lesson_bike({}), lines, END_S, build=build)
    except BaseException as error:  # Whatever it is, SystemExit too: it comes from the pupil's code.
        cause = error.__cause__ or error
        wrong_answer = isinstance(cause, _WrongAnswerError)
        raise RequestError(str(cause) if wrong_answer else explained(cause, code)) from None


def _rules(ridden: list[Ridden]) -> tuple[Rule, ...]:
    """Check all rides against the three rules; each is judged by its worst ride."""
    helps_s = [_helps_after(one.samples) for one in ridden]
    late_s = max((END_S if after_s is None else after_s) for after_s in helps_s)
    cuts_m = [_runs_on_m(one.samples, STOP_S + phase, AGAIN_S) for one, phase in _with_phases(ridden)]
    brakes_s = [_runs_on_s(one.samples, BRAKE_S + phase, RELEASE_S) for one, phase in _with_phases(ridden)]
    came = None not in helps_s
    early = any(_runs_on_s(one.samples, 0.0, START_S) > 0.0 for one in ridden)
    return (
        Rule(
            "It helps soon",
            f"{HELP_W:.0f} W after at most {late_s:.1f} s" if came else f"it never gave {HELP_W:.0f} W",
            f"within {HELP_MOST_S:g} s",
            came and late_s <= HELP_MOST_S,
        ),
        Rule(
            "It pushes only during pedalling",
            "it pushes before pedalling starts" if early else f"it stops after at most {max(cuts_m):.1f} m",
            f"not before, and it stops within {CUT_MOST_M:g} m",
            came and not early and max(cuts_m) <= CUT_MOST_M,
        ),
        Rule(
            "It stops when the brake is pulled",
            f"after at most {max(brakes_s):.2f} s",
            f"within {BRAKE_MOST_S:g} s",
            came and max(brakes_s) <= BRAKE_MOST_S,
        ),
    )


def _with_phases(ridden: list[Ridden]) -> list[tuple[Ridden, float]]:
    return list(zip(ridden, PHASES_S, strict=True))


def _helps_after(samples: Samples) -> float | None:
    """Return how long after the start of pedalling the motor gave HELP_W, in s; None if it never did."""
    for at_s, power_w in zip(samples.time_s, samples.power_w, strict=True):
        if START_S <= at_s < STOP_S and power_w >= HELP_W:
            return at_s - START_S
    return None


def _runs_on_s(samples: Samples, from_s: float, until_s: float) -> float:
    """Return how long the command stayed above zero between two times."""
    driven = [
        at_s
        for at_s, volt in zip(samples.time_s, samples.command_v, strict=True)
        if from_s < at_s < until_s and volt > 0.0
    ]
    return max(driven, default=from_s) - from_s


def _runs_on_m(samples: Samples, from_s: float, until_s: float) -> float:
    """Return how far the bicycle went between two times until the command was zero for good."""
    ends_s = from_s + _runs_on_s(samples, from_s, until_s)
    begun_m = next(m for at, m in zip(samples.time_s, samples.distance_m, strict=True) if at >= from_s)
    return next(m for at, m in zip(samples.time_s, samples.distance_m, strict=True) if at >= ends_s) - begun_m
