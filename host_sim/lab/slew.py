"""Lesson 3: how fast the push may rise: a higher rise rate means less lag and more jerk."""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.handover.first_ride import push_m_per_s2
from host_sim.lab.branching import Branch, ride_to
from host_sim.lab.checking import Check, check_all
from host_sim.lab.riding import Lines, largest, lesson_bike
from host_sim.report.samples import Samples

START_S, STOP_S, END_S = 1.2, 6.5, 7.2
CADENCE_RPM = 55.0
STARTS, STOPS = 2, 4  # Rides that start, and that stop, at other crank angles.
_STOPS_SPREAD_S = 60.0 / (CADENCE_RPM * 10)  # A pitch of the trike's ten magnets.
JERK_MOST_M_PER_S3 = 0.6  # A target of this lesson, not of a standard: common practice, no source.
FULL_MOST_S = 1.5
_WINDOW = 10  # Samples of 10 ms: jerk is measured over a tenth of a second; tyres absorb what is shorter.
_WINDOW_S = _WINDOW * 0.01
_FULL_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class Push:
    """The motor's push on the bicycle in one ride (m/s²), sample by sample, and its jerk (m/s³)."""

    push_m_per_s2: list[float]
    jerk_m_per_s3: list[float]


@dataclass(frozen=True, slots=True)
class Slewed:
    """The result of the ride drawn, and of others that start or stop at another place of the crank.

    `worsts_m_per_s3` and `lags_s` are those of the starts, `cuts_m_per_s3` and `cuts_after_s` (from the end
    of pedalling) those of the stops; the first ones are those of the ride drawn. A lag is None if full power
    was not reached.
    """

    rise_mv_per_s: int
    load_kg: float
    bike: Bike
    samples: Samples
    push_m_per_s2: list[float]
    jerk_m_per_s3: list[float]
    cut_s: float | None
    worsts_m_per_s3: list[float]
    lags_s: list[float | None]
    cuts_m_per_s3: list[float]
    cuts_after_s: list[float]

    @property
    def worst_m_per_s3(self) -> float:
        """The largest jerk of all starts while the push comes."""
        return max(self.worsts_m_per_s3)

    @property
    def cut_m_per_s3(self) -> float:
        """The jerk of the hardest cut: the most negative value."""
        return min(self.cuts_m_per_s3)

    @property
    def lag_s(self) -> float | None:
        """The longest lag, first command to nine tenths of the power, in s; None if one ride missed them."""
        return largest(self.lags_s)


def try_slew(rise_mv_per_s: int, load_kg: float) -> Slewed:
    """Start on a level road with a rise rate (50 to 5000 mV/s) and a load in the box (0 to 150 kg)."""
    bike = lesson_bike({"bicycle": {"load_kg": load_kg}, "settings": {"rise_mv_per_s": rise_mv_per_s}})
    trunk = ride_to(bike, _starting_at(START_S), STOP_S - 0.05, [Samples()])
    cuts = []
    for number in range(STOPS):
        trunk.ride_on(STOP_S + _STOPS_SPREAD_S * number / STOPS)
        cuts.append(_stopped(bike, trunk.copy()))
    samples, stopped = cuts[0]
    starts = [(samples, stopped), *(_started(bike, number) for number in range(1, STARTS))]
    cut_s = _ends_s(samples)
    return Slewed(
        rise_mv_per_s, load_kg, bike, samples, stopped.push_m_per_s2, stopped.jerk_m_per_s3, cut_s,
        worsts_m_per_s3=[max(push.jerk_m_per_s3) for _, push in starts],
        lags_s=[_lag_s(bike, ridden) for ridden, _ in starts],
        cuts_m_per_s3=[min(push.jerk_m_per_s3) for _, push in cuts],
        cuts_after_s=[
            end_s - STOP_S - _STOPS_SPREAD_S * number / STOPS
            for number, end_s in enumerate(_ends_s(ridden) for ridden, _ in cuts)
            if end_s is not None
        ],
    )  # fmt: skip


def _starting_at(start_s: float) -> Lines:
    return [{"at_s": 0, "cadence_rpm": 0, "effort_w": 90}, {"at_s": start_s, "cadence_rpm": CADENCE_RPM}]


def _stopped(bike: Bike, branch: Branch) -> tuple[Samples, Push]:
    """Stop pedalling now, and ride on until the push has ended."""
    branch.stop_pedalling()
    branch.ride_on(END_S)
    return branch.watches[0], _push(bike, branch.watches[0])


def _started(bike: Bike, number: int) -> tuple[Samples, Push]:
    """Start with the crank at another place between two magnets, and ride until full power is reached."""
    crank_deg = 360.0 / bike.pedal_sensor.pulses_per_rev * number / STARTS
    branch = ride_to(bike, _starting_at(START_S), START_S, [Samples()], seed=1 + number, crank_deg=crank_deg)
    full_w = _FULL_SHARE * bike.firmware_settings.assist_power_w
    branch.ride_on(STOP_S, over=lambda outputs: branch.world.motor.power_w > full_w)
    branch.ride_on(min(branch.now_s + 2.0 * _WINDOW_S, STOP_S))
    return branch.watches[0], _push(bike, branch.watches[0])


def _push(bike: Bike, samples: Samples) -> Push:
    push = push_m_per_s2(bike, samples)
    # Over a window centred on each sample, so that a change appears at its own time.
    half = [0.0] * (_WINDOW // 2)
    slopes = [(after - before) / _WINDOW_S for before, after in zip(push, push[_WINDOW:], strict=False)]
    return Push(push, half + slopes + half)


def _lag_s(bike: Bike, samples: Samples) -> float | None:
    """Return the time from the first command to nine tenths of the power."""
    first_s = samples.first(samples.command_v, 0.0)
    full_s = samples.first(samples.power_w, _FULL_SHARE * bike.firmware_settings.assist_power_w)
    return None if first_s is None or full_s is None else full_s - first_s


def _ends_s(samples: Samples) -> float | None:
    """Return when the command was cut after pedalling stopped, in s."""
    pairs = zip(samples.time_s, samples.command_v, strict=True)
    return next((at for at, volt in pairs if at > STOP_S and volt == 0.0), None)


def check_slew(tried: Slewed) -> Check:
    """Check whether the push is gentle with an empty box and still comes soon enough."""
    lag = "full power is never reached" if tried.lag_s is None else f"full power takes {tried.lag_s:.1f} s"
    return check_all(
        [
            (tried.load_kg == 0.0, "remove the load: the lightest bicycle jerks most"),
            (
                tried.worst_m_per_s3 <= JERK_MOST_M_PER_S3,
                f"the jerk is {tried.worst_m_per_s3:.1f} m/s³, wanted {JERK_MOST_M_PER_S3:g}",
            ),
            (tried.lag_s is not None and tried.lag_s <= FULL_MOST_S, f"{lag}, wanted {FULL_MOST_S:g} s"),
        ],
        "Now add the load: the same rise rate is gentler. Then look at the end: a cut is not slewed. "
        f"It jerks the other way with {tried.cut_m_per_s3:.1f} m/s³, because safety comes before comfort.",
    )
