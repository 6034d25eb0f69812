"""Path vectors of the components that fit a Cortex-M0, as lines of Python that touch nothing else.

A lemma does not fit there. So it is run here, on a copy of its modules in which the component stands behind a
tape: how it is built, what is written into it, how it is called. The lines do the same to it over there.
"""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

from firmware.settings import Settings
from host_sim.compiled.build import ROOT
from host_sim.proof.numbers import Numbers

# By kernel: the modules of its lemmas, their names, and what they use of the firmware that is to be taped.
TAPED = {
    "ticks and integers": (
        "host_sim.proof.lemmas_sense",
        "ticks ticks_forward",
        "ticks_diff_us ticks_add_us",
    ),
    "slew_limiter": ("tests.paths.drive", "slew_limiter", "SlewLimiter"),
    "power_loop": ("tests.paths.drive", "power_loop open_map", "PowerLoop"),
    "crank": (
        "tests.paths.sense host_sim.proof.lemmas_sense",
        "crank_two_channels crank_one_channel crank_duty_coded crank_glitch crank_standstill",
        "Crank",
    ),
    "wheel": ("tests.paths.sense host_sim.proof.lemmas_sense", "wheel rotation", "Wheel Rotation"),
}
# What a component shows when all is done; without what is private too a remainder could be lost unnoticed.
SHOWN = {
    "SlewLimiter": "command_mv _carry_nv",
    "PowerLoop": "target_mv _integral_uv _carry",
    "Crank": "forward_run backward_run pitch_us last_forward_us rejected standing levels _behind",
    "Wheel": "speed_mm_per_s pulsed",
    "Rotation": "standing _last_us",
}


class Tape:
    """Stands before a component, or before something in it, and writes down in Python what is done to it.

    What is there already is not written again.
    """

    def __init__(self, lines: list[str], name: str, component: Any) -> None:
        """Write into `lines`; the component is called `name` there."""
        vars(self).update(_lines=lines, _name=name, _component=component)

    def __getattr__(self, field: str) -> Any:
        value = getattr(vars(self)["_component"], field)
        name = f"{vars(self)['_name']}.{field}"
        if callable(value):
            return taped_call(vars(self)["_lines"], name, value)
        return value if isinstance(value, int) else Tape(vars(self)["_lines"], name, value)

    def __setattr__(self, field: str, value: int) -> None:
        if getattr(vars(self)["_component"], field) != value:
            vars(self)["_lines"].append(f"{vars(self)['_name']}.{field}={value}")
            setattr(vars(self)["_component"], field, value)

    def __setitem__(self, index: int, value: int) -> None:
        if vars(self)["_component"][index] != value:
            vars(self)["_lines"].append(f"{vars(self)['_name']}[{index}]={value}")
            vars(self)["_component"][index] = value


def taped_call(lines: list[str], name: str, function: Callable[..., int]) -> Callable[..., int]:
    """Return a function that writes its call into `lines`, to be folded with `f`, and then does it."""

    def call(*arguments: int) -> int:
        lines.append(f"f({name}({','.join(map(str, arguments))}))")
        return function(*arguments)

    return call


def taped_class(lines: list[str], kind: type[Any], known: Settings, needs: list[str]) -> Callable[..., Tape]:
    """Return what builds a component called `k` behind a tape.

    `needs` are the settings that its class reads, and `known` those that are there already.
    """

    def build(*arguments: Any) -> Tape:
        for settings in arguments:
            for name in needs if isinstance(settings, Settings) else ():
                setattr(Tape(lines, "settings", known), name, getattr(settings, name))
        words = ["settings" if isinstance(one, Settings) else str(one) for one in arguments]
        lines.append(f"k={kind.__name__}({','.join(words)})")
        return Tape(lines, "k", kind(*arguments))

    return build


class VectorScript:
    """The vectors of one kernel. Read: `vectors` (how many); `setup` and `lines`, which go through them."""

    def __init__(self, kernel: str, needs: list[str], vectors: Path) -> None:
        """Run the kernel's lemmas on a file of vectors; ValueError if one comes to other than predicted."""
        module_names, lemmas, names = TAPED[kernel]
        self.vectors = 0
        self.lines: list[str] = []
        module = _copy_of(module_names.split())
        known = Settings({})
        self.setup = ["class S:\n pass\nsettings = S()"]
        self.setup += [f"settings.{name}={getattr(known, name)}" for name in needs]
        for name in names.split():
            thing = getattr(module, name)
            if name in SHOWN:
                setattr(module, name, taped_class(self.lines, thing, known, needs))
                shows = "\n".join(f" f(k.{field})" for field in SHOWN[name].split())
                self.setup.append(f"def show_{name}():\n{shows}")
            else:
                setattr(module, name, taped_call(self.lines, name, thing))
        for text in vectors.read_text(encoding="ascii").splitlines():
            lemma, values, outcome = text.split("|")
            if lemma in lemmas.split():
                self._run(getattr(module, lemma), _pairs(values), _pairs(outcome))

    def _run(self, lemma: Callable[[Numbers], None], values: dict[str, int], outcome: dict[str, int]) -> None:
        numbers = Numbers(values)
        lemma(numbers)
        if numbers.outcomes != outcome:
            raise ValueError(f"{lemma.__name__} comes to {numbers.outcomes}, {outcome} was predicted")
        built = [line for line in self.lines if line.startswith("k=")]
        if built:
            component = built[-1].partition("=")[2].partition("(")[0]
            self.lines.append(f"show_{component}()")
        self.vectors += 1


def _copy_of(names: list[str]) -> ModuleType:
    """Return a module that nobody else has, with all that some modules define: the later ones win."""
    copy = ModuleType("taped")
    for name in names:
        path = ROOT / f"{name.replace('.', '/')}.py"
        exec(compile(path.read_text(encoding="utf-8"), path, "exec"), vars(copy))
    return copy


def _pairs(text: str) -> dict[str, int]:
    pairs = [pair.split("=") for pair in text.split(",") if pair]
    return {name: int(number) for name, number in pairs}
