"""Lesson 3: how fast the push may come: the rise rate between jerk and lag."""

from dataclasses import dataclass
from math import pi

from host_sim.bikes.model import Bike
from host_sim.lab.checking import Check, check_all
from host_sim.lab.riding import Lines, Ridden, lesson_bike, ride

START_S, STOP_S, END_S = 1.2, 6.5, 7.2
JERK_MOST_M_PER_S3 = 0.6  # A wish of this lesson, no standard: common practice, no source.
FULL_MOST_S = 1.5
_WINDOW = 10  # Samples of 10 ms: jerk is told over a tenth of a second, what is shorter the tyres take.
_WINDOW_S = _WINDOW * 0.01
_FULL_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class Slewed:
    """What the ride came to: the motor's push on the bicycle (m/s²) sample by sample, the jerk, the lag."""

    rise_mv_per_s: int
    load_kg: float
    bike: Bike
    ridden: Ridden
    push_m_per_s2: list[float]
    jerk_m_per_s3: list[float]
    first_s: float | None
    full_s: float | None
    cut_s: float | None

    @property
    def worst_m_per_s3(self) -> float:
        """The largest jerk while the push comes."""
        return max(self.jerk_m_per_s3)

    @property
    def cut_m_per_s3(self) -> float:
        """The jerk of the cut at the end: the most negative one."""
        return min(self.jerk_m_per_s3)

    @property
    def lag_s(self) -> float | None:
        """From the first command to nine tenths of the power; None if they were not reached."""
        return None if self.first_s is None or self.full_s is None else self.full_s - self.first_s


def try_slew(rise_mv_per_s: int, load_kg: float) -> Slewed:
    """Ride away on level road with a rise rate (50 to 5000 mV/s) and a load in the box (0 to 150 kg)."""
    bike = lesson_bike({"bicycle": {"load_kg": load_kg}, "settings": {"rise_mv_per_s": rise_mv_per_s}})
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": START_S, "cadence_rpm": 55},
        {"at_s": STOP_S, "cadence_rpm": 0},
    ]
    ridden = ride(bike, lines, END_S)
    push = [_push_m_per_s2(bike, motor_a) for motor_a in ridden.samples.motor_a]
    # Over a window around each sample, so that a change stands at the time at which it happens.
    half = [0.0] * (_WINDOW // 2)
    slopes = [(after - before) / _WINDOW_S for before, after in zip(push, push[_WINDOW:], strict=False)]
    jerk = half + slopes + half
    samples = ridden.samples
    return Slewed(
        rise_mv_per_s, load_kg, bike, ridden, push, jerk,
        first_s=samples.first(samples.command_v, 0.0),
        cut_s=next(
            (
                at
                for at, volt in zip(samples.time_s, samples.command_v, strict=True)
                if at > STOP_S and volt == 0.0
            ),
            None,
        ),
        full_s=samples.first(samples.power_w, _FULL_SHARE * bike.firmware_settings.assist_power_w),
    )  # fmt: skip


def _push_m_per_s2(bike: Bike, motor_a: float) -> float:
    """Return the acceleration that the motor alone gives: torque over radius over mass."""
    current_a = max(motor_a - bike.motor.no_load_current_a, 0.0)
    radius_m = bike.bicycle.wheel_circumference_m / (2.0 * pi)
    return current_a * bike.motor.torque_constant_nm_per_a / radius_m / bike.bicycle.mass_kg


def check_slew(tried: Slewed) -> Check:
    """Tell whether the push is gentle with an empty box and yet comes soon enough."""
    lag = "full power never comes" if tried.lag_s is None else f"full power takes {tried.lag_s:.1f} s"
    return check_all(
        [
            (tried.load_kg == 0.0, "take the load out: the lightest bicycle jerks most"),
            (
                tried.worst_m_per_s3 <= JERK_MOST_M_PER_S3,
                f"the jerk is {tried.worst_m_per_s3:.1f} m/s³, wanted {JERK_MOST_M_PER_S3:g}",
            ),
            (tried.lag_s is not None and tried.lag_s <= FULL_MOST_S, f"{lag}, wanted {FULL_MOST_S:g} s"),
        ],
        "Now put the load in: the same volts a second are gentler. And look at the end: a cut is not slewed. "
        f"It jerks the other way with {tried.cut_m_per_s3:.1f} m/s³, because safety comes before comfort.",
    )
