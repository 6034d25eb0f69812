"""The components that fit a Cortex-M0: fed there with calls from a golden ride, and compared with CPython.

The same lines of Python are run on both sides: a component is built, called as it was called in the ride,
and all that it shows is folded into a number that is printed after every few calls.
"""

from pathlib import Path
from typing import Any

from firmware.controller import Controller
from firmware.settings import Settings
from host_sim.forms.replay import Replay

WRAP_AT_LEAST_US = 1 << 29
FOLD = "d = 1\ndef f(r):\n global d\n d = (d * 31 + int(r or 0)) & 0xFFFFF"


class Kernel:
    """A component: its modules in order, how it is built, the methods it is called by, what it shows."""

    def __init__(
        self, name: str, modules: str, build: str, needs: str, shows: str, method: str, calls_max: int
    ) -> None:
        """Take words separated by blanks; `needs` are settings, `build` may use `settings` and `now_us`.

        `method` is the one whose calls tell most.
        """
        self.name = name
        self.modules = [f"firmware.{module}" for module in modules.split()]
        self.build = build
        self.needs = needs.split()
        self.shows = shows.split()
        self.method = method
        self.calls_max = calls_max


KERNELS = (
    Kernel(
        "slew_limiter",
        "ticks drive.slew_limiter",
        "SlewLimiter(settings.rise_mv_per_s, settings.fall_mv_per_s, now_us)",
        "rise_mv_per_s fall_mv_per_s",
        "command_mv",
        "step",
        300,
    ),
    Kernel(
        "power_loop",
        "ticks integers drive.power_loop",
        "PowerLoop(settings, now_us)",
        "shunt_fitted command_start_mv command_max_mv gain_uv_per_w integral_ms open_map_full_w",
        "target_mv",
        "step",
        300,
    ),
    Kernel(
        "crank",
        "ticks sense.crank",
        "Crank(settings, now_us)",
        "pulses_per_rev sensor_kind lead forward_duty_high release_rpm",
        "forward_run backward_run pitch_us last_forward_us rejected standing one_sided_run levels",
        "edge",
        600,
    ),
    Kernel(
        "wheel",
        "ticks integers sense.rotation",
        "Wheel(settings.wheel_circumference_mm, settings.wheel_pulses_per_rev)",
        "wheel_circumference_mm wheel_pulses_per_rev",
        "speed_mm_per_s pulsed",
        "edge",
        400,
    ),
)
INTEGERS = "ticks and integers"
INTEGER_MODULES = ["firmware.ticks", "firmware.integers"]
INTEGER_LINES = [
    f"f({function}({value}, 300, 700))"
    for function in ("clamp", "rising_permille", "fading_permille")
    for value in (-1, 0, 299, 300, 301, 500, 699, 700, 701, 1000000)
]
INTEGER_LINES += [
    f"f(ticks_diff_us({later}, {earlier}))"
    for later in (0, 1, 2**29 - 1, 2**29, 2**29 + 1, 2**30 - 1)
    for earlier in (0, 1, 2**29 - 1, 2**29, 2**29 + 1, 2**30 - 1)
]


class Taped:
    """Stands before a component of a controller and writes down how it is called, in Python."""

    def __init__(self, component: Any, lines: list[str]) -> None:
        """Write into `lines`."""
        self._component = component
        self._lines = lines

    def __getattr__(self, name: str) -> Any:
        value = getattr(self._component, name)
        if not callable(value):
            return value

        def call(*arguments: int) -> Any:
            self._lines.append(f"f(k.{name}({', '.join(map(str, arguments))}))")
            return value(*arguments)

        return call


class TapingReplay(Replay):
    """A replay that tapes one component of each controller. Read: `lines`, `settings`, `started_us`."""

    component = ""

    def begin(self, settings: Settings, now_us: int) -> Controller:
        """Build a controller with one component taped; the tape of the first life is kept."""
        controller = super().begin(settings, now_us)
        if not hasattr(self, "lines"):
            self.lines: list[str] = []
            self.settings = settings
            self.started_us = now_us
            setattr(controller, self.component, Taped(getattr(controller, self.component), self.lines))
        return controller


def script_of(kernel: Kernel, trace: Path) -> tuple[list[str], list[str]]:
    """Return what builds the component, and the lines that call it as in the middle of a trace."""
    with trace.open("rb") as file:
        replay = TapingReplay(file)
        replay.component = kernel.name
        replay.run()
    settings = [f"settings.{name} = {getattr(replay.settings, name)}" for name in kernel.needs]
    setup = ["class S:\n pass\nsettings = S()", "\n".join(settings), f"now_us = {replay.started_us}"]
    shows = "\n".join(f" f(k.{name})" for name in kernel.shows)
    setup += [f"k = {kernel.build}", FOLD, f"def s():\n{shows}"]
    lines = _telling(replay.lines, kernel.method, kernel.calls_max)
    return setup, [f"{line};s()" for line in lines]


def _telling(lines: list[str], method: str, count: int) -> list[str]:
    """Return `count` calls: half from the first of the telling method on, half across the clock's wrap."""
    first = next(place for place, line in enumerate(lines) if f".{method}(" in line)
    wrap, last_us = 0, 0
    for place, line in enumerate(lines):
        time_us = int(line.rstrip(")").split("(")[-1].split(",")[-1] or last_us)
        if time_us < last_us - WRAP_AT_LEAST_US:
            wrap = place
        last_us = time_us
    half = count // 2
    return lines[first : first + half] + lines[max(wrap - half // 2, first + half) : wrap + half // 2]
