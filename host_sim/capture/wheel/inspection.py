"""The findings from a capture of a wheel sensor."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from host_sim.capture.edges import CHANNEL_B
from host_sim.capture.findings import Finding
from host_sim.capture.gathering import EdgeSource, gather
from host_sim.capture.stretches import Floats
from host_sim.capture.wheel.by_speed import Band, Noise, bands_of, filled_gaps, lost_in, noise_of, speeds_at
from host_sim.capture.wheel.pulses import WheelPulses, drive_times, wheel_pulses
from host_sim.capture.wheel.turn import WheelTurn, turn_of_wheel
from host_sim.capture.wire_words import NOISE_TOLD_PER_S
from host_sim.units import NS_PER_S

FEW_SHARE = 0.002  # Of all pulses: one lost in 500 may be due to a pothole; more are the sensor's fault.
FEW = 2
NOISE_SPLITS = 0.05  # This share of noise pulses coincides with a magnet's pulse and splits it.
CIRCUMFERENCE_WITHIN = 0.02
TURNS_FOR_CIRCUMFERENCE = 3.0
USUAL_CIRCUMFERENCE_M = 2.1


@dataclass(frozen=True, slots=True)
class WheelTold:
    """Known values: distance (m) and turns of a push (0, 0: none), and the bike file's values (0: none)."""

    pushed_m: float = 0.0
    pushed_turns: float = 0.0
    circumference_m: float = 0.0
    pulses: int = 0


@dataclass(frozen=True, slots=True)
class WheelInspection:
    """The findings. `circumference_m` is None without a push; `speed_known`: whether any is known.

    `middle_s`, `km_per_h`: the speed over time; `lost_s`: when pulses were lost, `lost`: how many each time.
    """

    pulses: WheelPulses
    turn: WheelTurn
    circumference_m: float | None
    speed_known: bool
    bands: list[Band]
    noise: Noise
    lost_s: Floats
    lost: Floats
    middle_s: Floats
    km_per_h: Floats
    seconds: float
    has_drive: bool
    told: WheelTold

    @property
    def lost_count(self) -> int:
        """The number of lost pulses."""
        return int(self.lost.sum())

    @property
    def few(self) -> float:
        """The number of lost or doubled pulses up to which they are not reported."""
        by_noise = NOISE_SPLITS * len(self.pulses.noise_s)
        return max(FEW, FEW_SHARE * len(self.pulses.rise_s), by_noise)

    @property
    def why(self) -> list[str]:
        """The reasons why the sensor is not called fit, one short phrase each."""
        if len(self.pulses.rise_s) < 4:
            return ["the wheel gives no pulses"]
        return [
            phrase
            for wrong, phrase in (
                (self.turn.missing, "a wheel magnet is missing"),
                (not self.turn.pulses.sure, "the number of pulses per turn of the wheel is unknown"),
                (self.lost_count > self.few, "wheel pulses are lost"),
                (len(self.pulses.double_s) > self.few, "wheel pulses are doubled"),
                (self.noise.with_drive, "the motor makes noise on the wheel channel"),
                (
                    self.noise.per_s > NOISE_TOLD_PER_S and not self.noise.with_drive,
                    "there is noise on the wheel channel",
                ),
            )
            if wrong
        ]

    @property
    def against_bike(self) -> list[str]:
        """The differences from the bike file, as short phrases."""
        told = self.told
        said = []
        if told.pulses and self.turn.pulses.sure and self.turn.pulses.value != told.pulses:
            said.append("the bike file and the capture differ in the number of wheel pulses")
        if told.circumference_m and self.circumference_m is not None:
            if abs(self.circumference_m / told.circumference_m - 1.0) > CIRCUMFERENCE_WITHIN:
                said.append("the bike file and the push differ in the wheel circumference")
        return said

    @property
    def changes(self) -> dict[str, Any]:
        """The keys of a bike file that follow from the certain findings."""
        keys: dict[str, Any] = {}
        if self.turn.pulses.sure and self.turn.pulses.value != self.told.pulses:
            keys["wheel_sensor.pulses_per_rev"] = self.turn.pulses.value
        if self.circumference_m is not None and self.told.pushed_turns >= TURNS_FOR_CIRCUMFERENCE:
            rounded = round(self.circumference_m, 3)
            if rounded != self.told.circumference_m:
                keys["bicycle.wheel_circumference_m"] = rounded
        return keys


def inspect_wheel(source: EdgeSource, told: WheelTold) -> WheelInspection:
    """Inspect the edges of a wheel channel; a second channel, if any, is high while the motor drives."""
    gathered = gather(source)
    pulses = wheel_pulses(gathered.times_ns, gathered.levels)
    has_drive = bool(gathered.changes[1]) or bool(np.any(gathered.levels & CHANNEL_B))
    drive = drive_times(gathered.times_ns, gathered.levels) if has_drive else None
    seconds = max((gathered.kept_end_ns - int(gathered.times_ns[0])) / NS_PER_S, 1e-9)
    turn = turn_of_wheel(pulses.gaps_s, told.pushed_turns, told.pulses)
    if not turn.seen and not told.pushed_turns:
        # Each lost pulse shifts the following ones by a place: if they are restored, a pattern may show.
        turn = turn_of_wheel(filled_gaps(pulses.gaps_s), 0.0, told.pulses)
    circumference_m = told.pushed_m / told.pushed_turns if told.pushed_turns else None
    around_m = circumference_m or told.circumference_m or USUAL_CIRCUMFERENCE_M
    number = turn.pulses.value if turn.pulses.sure and turn.pulses.value else told.pulses or 1
    places, lost = lost_in(pulses.gaps_s, _shape(pulses.gaps_s, turn))
    middle_s, km_per_h = speeds_at(pulses, around_m / number)
    km_per_h[places] *= lost + 1
    lost_s = middle_s[places]
    return WheelInspection(
        pulses,
        turn,
        circumference_m,
        circumference_m is not None or told.circumference_m > 0.0,
        bands_of(pulses, lost_s, lost, (middle_s, km_per_h)),
        noise_of(pulses, seconds, drive),
        lost_s,
        lost,
        middle_s,
        km_per_h,
        seconds,
        has_drive,
        told,
    )


def _shape(gaps_s: Floats, turn: WheelTurn) -> Floats:
    """Return how long each gap is in every turn, relative to the mean: a missing magnet is no lost pulse."""
    if not turn.missing or len(gaps_s) < 2 * turn.seen:
        return np.ones(len(gaps_s))
    count = turn.seen
    mean = np.convolve(gaps_s, np.ones(count) / count, mode="same")
    share = np.array([float(np.median((gaps_s / mean)[place::count])) for place in range(count)])
    return np.asarray((share / share.mean())[np.arange(len(gaps_s)) % count])


def wheel_json(found: WheelInspection, advice: list[str], why: list[str]) -> dict[str, Any]:
    """Return the findings as data for JSON, within `wheel`, to distinguish them from a pedal sensor's."""
    noise = found.noise
    pulses: Finding[int] = found.turn.pulses
    wheel = {
        "pulses_per_rev": pulses.value,
        "confidence": round(pulses.confidence, 3),
        "missing": found.turn.missing,
        "circumference_m": None if found.circumference_m is None else round(found.circumference_m, 4),
        "pulses": len(found.pulses.rise_s),
        "lost": found.lost_count,
        "doubled": len(found.pulses.double_s),
        "noise_per_s": round(noise.per_s, 3),
        "noise_driving_per_s": None if noise.driving_per_s is None else round(noise.driving_per_s, 3),
        "noise_idle_per_s": None if noise.idle_per_s is None else round(noise.idle_per_s, 3),
        "noise_with_drive": noise.with_drive,
        "noise_with_speed": noise.with_speed,
        "by_speed": [
            {
                "from_km_per_h": band.least_km_per_h,
                "to_km_per_h": band.most_km_per_h,
                "seconds": round(band.seconds, 2),
                "pulses": band.pulses,
                "lost": band.lost,
                "doubled": band.doubled,
                "noise": band.noise,
            }
            for band in found.bands
        ],
        "advice": advice,
    }
    return {"fit": not why, "why": why, "wheel": wheel}
