"""Faults of one measured value on its way to the controller, other than a broken wire.

Applied once in each control period while a fault is active; a healthy reading is not passed through here.
"""

from math import pi, sin
from random import Random

from host_sim.bench.noise import Noise

PLAIN = 0
STUCK = 1  # The reading keeps the value that it had when the fault began.
FIXED = 2  # The reading is `fixed`, whatever the true value.

CONTACT_LOST_SHORTEST_US = 5_000
CONTACT_LOST_LONGEST_S = 0.05  # A shaking loose contact; common practice, no source.
_TURN = 2.0 * pi


class Distortion:
    """One reading and its faults: `mode`, and while PLAIN a gain, noise, interference and lost contact.

    `open_value` is what the converter reads without contact, `high_value` its highest. `noise` is one sigma,
    `interference` the amplitude of a sine of `interference_per_s` hertz; both in the reading's own unit.
    """

    __slots__ = (
        "_held",
        "_holding",
        "_last_us",
        "_lost_until_us",
        "_low_value",
        "_noise",
        "_random",
        "fixed",
        "gain",
        "high_value",
        "interference",
        "interference_per_s",
        "lost_per_s",
        "mode",
        "noise",
        "open_value",
    )

    def __init__(
        self, open_value: int, low_value: int, high_value: int, random: Random, noise: Noise
    ) -> None:
        """Start healthy; `random` and `noise` are shared by all readings of a ride."""
        self.open_value = open_value
        self._low_value = low_value
        self.high_value = high_value
        self._random = random
        self._noise = noise
        self._held = 0
        self._holding = False
        self._last_us = 0
        self._lost_until_us = 0
        self.heal()

    def heal(self) -> None:
        """End every fault; a held value is released at `settle`."""
        self.mode = PLAIN
        self.fixed = 0
        self.gain = 1.0
        self.noise = 0.0
        self.interference = 0.0
        self.interference_per_s = 0.0
        self.lost_per_s = 0.0

    def settle(self, now_us: int) -> None:
        """Apply the faults set now: a held value stays only if it is still stuck."""
        self._last_us = now_us
        if self.mode != STUCK:
            self._holding = False
        if self.lost_per_s == 0.0:
            self._lost_until_us = now_us

    def faulty(self) -> bool:
        """Return whether this reading has a fault, so `reading` must be called."""
        return (
            self.mode != PLAIN
            or self.gain != 1.0
            or self.noise > 0.0
            or self.interference > 0.0
            or self.lost_per_s > 0.0
        )

    def reading(self, true_value: int, now_us: int) -> int:
        """Return the distorted reading of `true_value` at `now_us`; call it once in each control period."""
        if self.mode == FIXED:
            return self.fixed
        if self.mode == STUCK:
            if not self._holding:
                self._holding = True
                self._held = true_value
            return self._held
        elapsed_s = float(now_us - self._last_us) * 1e-6
        self._last_us = now_us
        if self.lost_per_s > 0.0:
            if now_us < self._lost_until_us:
                return self.open_value
            if self._random.random() < self.lost_per_s * elapsed_s:
                span_us = CONTACT_LOST_LONGEST_S * 1e6 - float(CONTACT_LOST_SHORTEST_US)
                lost_us = CONTACT_LOST_SHORTEST_US + int(self._random.random() * span_us)
                self._lost_until_us = now_us + lost_us
                return self.open_value
        value = float(true_value) * self.gain
        if self.noise > 0.0:
            value += self.noise * self._noise.next()
        if self.interference > 0.0:
            value += self.interference * sin(_TURN * self.interference_per_s * float(now_us) * 1e-6)
        whole = int(value + 0.5) if value > 0.0 else int(value - 0.5)
        return min(max(whole, self._low_value), self.high_value)
