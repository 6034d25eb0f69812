"""What a lesson is: its texts, its inputs, its question, and the functions that ride, draw and check.

One `Lesson` serves every front end: the page is made from the texts and inputs, and each change on the page
is one call with the lesson's number and the values. What only a teacher should read (aims, answers) is in
`host_sim/lab/teaching`, which no pupil's page is made from.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from host_sim.errors import RequestError
from host_sim.lab.checking import Check

Value = bool | int | float | str
Values = Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Slider:
    """A number that is one of ascending `steps`; `unit` is read out after it.

    A page shows even steps as a slider, uneven ones as a list to choose from: either way the control's
    value is the number itself, for screen readers too.
    """

    name: str
    label: str
    unit: str
    steps: tuple[float, ...]
    start: float

    @property
    def even(self) -> bool:
        """Whether the steps are evenly spaced."""
        first = self.steps[1] - self.steps[0]
        return all(abs(late - early - first) < 1e-6 for early, late in pairwise(self.steps))

    def checked(self, value: object) -> Value:
        """Return the step that equals `value`; RequestError if there is none."""
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            for step in self.steps:
                if abs(step - value) < 1e-9:
                    return step
        raise RequestError(
            f"{self.name} is {str(value)[:60]!r}, allowed is a step of its slider, "
            f"{self.steps[0]:g} to {self.steps[-1]:g}"
        )


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several `options`, each a value and what a pupil reads."""

    name: str
    label: str
    options: tuple[tuple[str, str], ...]
    start: str

    def checked(self, value: object) -> Value:
        """Return `value` if it is an option's; RequestError if not."""
        for option, _ in self.options:
            if option == value:
                return option
        allowed = ", ".join(option for option, _ in self.options)
        raise RequestError(f"{self.name} is {str(value)[:60]!r}, allowed is {allowed}")


@dataclass(frozen=True, slots=True)
class Switch:
    """Something that is on or off."""

    name: str
    label: str
    start: bool

    def checked(self, value: object) -> Value:
        """Return `value` if it is true or false; RequestError if not."""
        if isinstance(value, bool):
            return value
        raise RequestError(f"{self.name} is {str(value)[:60]!r}, allowed is true or false")


Input = Slider | Choice | Switch


@dataclass(frozen=True, slots=True)
class Prediction:
    """A question that a pupil answers before the ride is shown.

    `outcome` returns which of the `options` is right for a ride, `words` why; both evaluate the ride, so that
    no answer is stored. `values` are the settings that the question is about; None means the present
    settings, and then the lesson has a `draw_hidden`.
    """

    question: str
    options: tuple[str, ...]
    outcome: Callable[[Any], str]
    values: Values | None
    words: Callable[[Any], str] | None = None


@dataclass(frozen=True, slots=True)
class Lesson:
    """One lesson. `attempt` takes the inputs' values by name and returns the result for `draw` and `check`.

    `draw` and `draw_hidden` return HTML: numbers and charts, the second without what is to be predicted.
    `parts` are boxes of the chart (left, top, width, height) that a narrow screen shows below each other;
    without any it makes the whole chart narrower.
    """

    title: str
    question: str
    task: str
    inputs: tuple[Input, ...]
    attempt: Callable[..., Any]
    draw: Callable[[Any], str]
    check: Callable[[Any], Check]
    prediction: Prediction
    draw_hidden: Callable[[Any], str] | None = None
    parts: tuple[tuple[float, float, float, float], ...] = ()

    def start_values(self) -> dict[str, Value]:
        """Return the values at which the page opens."""
        return {one.name: one.start for one in self.inputs}

    def checked(self, values: Mapping[str, object]) -> dict[str, Value]:
        """Return a value for every input; RequestError names what is missing, unknown or not allowed."""
        names = [one.name for one in self.inputs]
        for name in values:
            if name not in names:
                raise RequestError(
                    f"{name[:60]!r} is not an input of this lesson, allowed is {', '.join(names)}"
                )
        for name in names:
            if name not in values:
                raise RequestError(f"{name} is missing; a call names {', '.join(names)}")
        return {one.name: one.checked(values[one.name]) for one in self.inputs}


def steps_between(low: float, high: float, step: float) -> tuple[float, ...]:
    """Return evenly spaced steps from `low` to `high`, both included; whole numbers stay whole."""
    count = round((high - low) / step)
    return tuple(round(low + number * step, 9) for number in range(count + 1))
