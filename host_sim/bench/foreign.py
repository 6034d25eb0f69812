"""Runs a controller that is not ours on the bench; only its outputs are visible.

A controller is any object with `step(inputs, now_us) -> outputs`, built from settings: `Mine(settings)`,
or `Mine(settings, now_us)` if it takes the time. The bench, the meters and the rules read the firmware's
`Controller`, so `Foreign` is a Controller that wraps the other one; its own components don't run. The state
is derived from the outputs only: fault, driving, or ready.
"""

import inspect
import traceback
from collections.abc import Callable
from typing import Any, Protocol

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, FAULTED, READY, Engagement
from firmware.guard.faults import CAUSE_NAMES
from firmware.records import INDICATE_FAULT, Inputs, Outputs
from firmware.settings import Settings
from host_sim.errors import ControllerFailed

COMMAND_MAX_MV = 5_000
VALID_MAX_US = 1_000_000  # Outputs that hold for longer would never expire when the loop stalls.
OUTPUT_FIELDS = ("command_mv", "drive_enabled", "fault_cause", "indicator", "valid_for_us")

Factory = Callable[[Settings, int], Controller]


class AnyController(Protocol):
    """What the bench needs of a controller."""

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        """Take one control period of 5 ms; `now_us` wraps at 2**30."""


Build = Callable[..., AnyController]
"""A class, or a function, that makes a controller from settings, or from settings and the time."""


class SeenFromOutside(Engagement):
    """A state derived from the outputs only."""

    __slots__ = ()

    def note(self, outputs: Outputs) -> None:
        """Update the state from the outputs."""
        if outputs.fault_cause != 0:
            self.state = FAULTED
        else:
            self.state = ASSISTING if outputs.command_mv > 0 else READY


class Foreign(Controller):
    """Wraps a controller that is not ours for code that expects ours. `inner` is that controller."""

    __slots__ = ("inner", "name")

    def __init__(self, inner: AnyController, name: str, settings: Settings, now_us: int) -> None:
        """Wrap `inner`; messages call it `name`."""
        super().__init__(settings, now_us)
        self.engagement = SeenFromOutside()
        self.inner = inner
        self.name = name

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        """Run one control period of `inner`; ControllerFailed if it raises or returns no outputs."""
        try:
            outputs = self.inner.step(inputs, now_us)
        except ControllerFailed:
            raise
        except (Exception, SystemExit) as error:
            raise ControllerFailed(f"{self.name}.step {what_was_raised(error)}") from error
        self._check(outputs)
        self.outputs = outputs
        self.engagement.note(outputs)  # type: ignore[attr-defined]
        return outputs

    def _check(self, outputs: Any) -> None:
        """Refuse outputs that a board can't produce."""
        for field in OUTPUT_FIELDS:
            if not hasattr(outputs, field):
                raise ControllerFailed(
                    f"{self.name}.step returned {type(outputs).__name__} without {field}, "
                    "allowed is what firmware.records.Outputs has"
                )
        limits = (
            ("command_mv", COMMAND_MAX_MV),
            ("fault_cause", len(CAUSE_NAMES) - 1),
            ("indicator", INDICATE_FAULT),
            ("valid_for_us", VALID_MAX_US),
        )
        for field, highest in limits:
            value = getattr(outputs, field)
            if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= highest:
                allowed = f"allowed is a whole number from 0 to {highest}"
                raise ControllerFailed(f"{self.name}.step returned {field} {value!r}, {allowed}")
        if not isinstance(outputs.drive_enabled, bool):
            raise ControllerFailed(
                f"{self.name}.step returned drive_enabled {outputs.drive_enabled!r}, allowed is True or False"
            )


def what_was_raised(error: BaseException) -> str:
    """Name the exception and its place, which a SyntaxError names by itself."""
    frames = [] if isinstance(error, SyntaxError) else traceback.extract_tb(error.__traceback__)
    place = f" ({frames[-1].filename.rsplit('/', 1)[-1]}, line {frames[-1].lineno})" if frames else ""
    said = " ".join(str(error).split())[:200]
    return f"raised {type(error).__name__}{': ' if said else ''}{said}{place}"


def build(make: Build, settings: Settings, now_us: int, name: str | None = None) -> Controller:
    """Build a controller with `make` for the bench; ControllerFailed if that can't be done.

    A subclass of our Controller is used without a wrapper, because it shows everything that ours shows.
    """
    called: str = name or str(getattr(getattr(make, "func", make), "__name__", type(make).__name__))
    try:
        made = make(settings, now_us) if _takes_time(make) else make(settings)
    except ControllerFailed:
        raise
    except (Exception, SystemExit) as error:
        raise ControllerFailed(f"{called}(settings) {what_was_raised(error)}") from error
    if isinstance(made, Controller):
        return made
    if not isinstance(make, type):
        called = name or type(made).__name__
    if not callable(getattr(made, "step", None)):
        raise ControllerFailed(f"{called} has no method step, allowed is a class with step(inputs, now_us)")
    return Foreign(made, called, settings, now_us)


def _takes_time(make: Build) -> bool:
    """Tell whether `make` also takes the time, as `now_us`."""
    try:
        return list(inspect.signature(make).parameters)[1:2] == ["now_us"]
    except (TypeError, ValueError):
        return False


class Hosted:
    """Builds a controller for the bench each time: at the start, and after each loss of supply."""

    def __init__(self, make: Build) -> None:
        """Take the class, or a function that makes a controller."""
        self.make = make

    def __call__(self, settings: Settings, now_us: int) -> Controller:
        """Build one."""
        return build(self.make, settings, now_us)

    @property
    def shows_all(self) -> bool:
        """Whether every rule can be checked: our Controller, or a subclass of it."""
        return shows_all(self.make)


def shows_all(make: Build | None) -> bool:
    """Tell whether the controllers that `make` makes show states, fault causes and watts as ours does."""
    return make is None or (isinstance(make, type) and issubclass(make, Controller))


def hosted(make: Build | Factory | None) -> Any:
    """Return what the bench builds its controller with: None for ours."""
    return make if make is None or hasattr(make, "shows_all") else Hosted(make)
