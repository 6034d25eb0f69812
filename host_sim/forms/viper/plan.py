"""Which calls are inlined, and the names of the other generated functions."""

from dataclasses import dataclass

from host_sim.forms.model import Function
from host_sim.forms.viper.graph import Component, Outside
from host_sim.forms.viper.values import Meaning


@dataclass(frozen=True, slots=True)
class Target:
    """A function of the sources for one object and for the objects passed to it."""

    function: Function
    me: Component | None
    given: tuple[tuple[str, Meaning], ...]

    @property
    def key(self) -> str:
        """What identifies it: names and paths."""
        words = [self.function.module.name, self.function.label, self.me.path if self.me else ""]
        for name, meaning in self.given:
            words.append(f"{name}={meaning.path if isinstance(meaning, Component | Outside) else meaning}")
        return " ".join(words)

    @property
    def numbers(self) -> list[str]:
        """The parameters that are numbers, in order."""
        given = dict(self.given)
        return [name for name in self.function.parameters if name not in given]


class Plan:
    """Says which calls are inlined. Read: `names` of generated functions, `called`."""

    def __init__(self, names: dict[str, str] | None = None) -> None:
        """Start with nothing inlined. `names` are names of functions already in use, by their keys."""
        self.inside: set[str] = set()
        self.everything = False
        self.outsides: dict[str, list[str]] = {}
        self.called: list[Target] = []
        self._names = {} if names is None else names

    def writes_out(self, target: Target) -> bool:
        """Return whether a call is inlined."""
        return self.everything or target.key in self.inside

    def name_of(self, target: Target) -> str:
        """Return the name of the generated function of a target, and record that it is called."""
        self.called.append(target)
        if target.key not in self._names:
            words = [*(target.me.path.split(".") if target.me else []), target.function.name]
            name = "_" + "_".join(word.strip("_") for word in words if word)
            while name in self._names.values():
                name += "_"
            self._names[target.key] = name
        return self._names[target.key]
