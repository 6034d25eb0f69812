"""A recorded ride, prepared for the bench: one entry per second, without gaps or implausible values.

The recording gives cadence, rider power, brakes and grade. The bicycle's speed comes from the physics; the
recorded speed tells where the hills are and when the rider braked. The rules that change a recording
are in `recording_rules` and in host_sim/recordings/README.md; `Recording.corrections` counts how often
each was used.
"""

from dataclasses import dataclass, field
from pathlib import Path

from host_sim.bench.recorded_csv import read_csv
from host_sim.bench.recorded_effort import (
    STANDING_M_PER_S,
    Road,
    cadence_for,
    estimated_effort,
    smoothed,
)
from host_sim.bench.recorded_fit import read_fit
from host_sim.bench.recording_rules import (
    Corrections,
    fill_gaps,
    join_lagging_cadence,
    lay_out_seconds,
    remove_spikes,
)
from host_sim.bench.records_of_ride import RideRecords
from host_sim.errors import RequestError
from host_sim.textfile import find_file, spoken

RECORDINGS = Path(__file__).resolve().parent.parent / "recordings"
_SUFFIXES = (".csv", ".fit")


@dataclass(slots=True)
class Recording:
    """A ride by the second: entry i of each list is what held i seconds after the start.

    cadence_rpm 0 to 200, rider_power_w (all riders) 0 or more, grade as rise over run within ±0.25, paused
    True while the recorder was off: the rider stands still with the brakes on. With a recorded speed, grade i
    is that of the road at `place_m[i]`; `braking` and `standing` tell what the rider did to slow down, and
    `speed_m_per_s` how fast it was. `estimated` names what was not recorded but worked out from the speed.
    """

    name: str
    cadence_rpm: list[float]
    rider_power_w: list[float]
    grade: list[float]
    paused: list[bool]
    corrections: Corrections
    braking: list[bool] = field(init=False)
    standing: list[bool] = field(init=False)
    speed_m_per_s: list[float] = field(default_factory=list)
    place_m: list[float] = field(default_factory=list)
    estimated: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Refuse lists of different lengths by ValueError."""
        if not len(self.cadence_rpm) == len(self.rider_power_w) == len(self.grade) == len(self.paused):
            raise ValueError("cadence_rpm, rider_power_w, grade and paused must have equal lengths")
        self.braking = [False] * len(self.paused)
        self.standing = list(self.paused)

    @property
    def seconds(self) -> int:
        """How long the ride is, pauses shortened."""
        return len(self.cadence_rpm)


def read_recording(path_or_name: str | Path, road: Road | None = None) -> Recording:
    """Return the ride in a CSV or FIT file, or an example by its name; RequestError says what is wrong.

    `road` is the bicycle of the recording; without it a recording without rider power is refused.
    """
    path = find_file(path_or_name, RECORDINGS, _SUFFIXES, "recording")
    if path.suffix.lower() not in _SUFFIXES:
        raise RequestError(f"{spoken(path.name)}: allowed is a name that ends in .csv or .fit")
    records = read_fit(path) if path.suffix.lower() == ".fit" else read_csv(path)
    return recording_from(records, path.stem, road)


def recording_from(records: RideRecords, name: str, road: Road | None = None) -> Recording:
    """Apply the rules, in order, to a recorder's data."""
    corrections = Corrections()
    unpowered = all(value is None for value in records.rider_power_w)
    track, paused = lay_out_seconds(records, corrections)
    if unpowered:
        if road is None:
            raise RequestError(
                f"{spoken(name)}: no record holds rider_power_w, a bike is needed to estimate it"
            )
        return _estimated(track, paused, name, road, corrections)
    cadence_rpm = fill_gaps(track.cadence_rpm, corrections)
    rider_power_w = fill_gaps(track.rider_power_w, corrections)
    remove_spikes(cadence_rpm, rider_power_w, paused, corrections)
    join_lagging_cadence(cadence_rpm, rider_power_w, corrections)
    if road is not None:
        rider_power_w = [road.riders * power_w for power_w in rider_power_w]
    recording = Recording(name, cadence_rpm, rider_power_w, _grades(track, paused), paused, corrections)
    if any(value is not None for value in records.speed_m_per_s):
        _add_speed(recording, track, fill_gaps(track.speed_m_per_s, Corrections()))
        if road is not None:
            battery_w = fill_gaps(track.battery_w, Corrections())
            speed_m_per_s = recording.speed_m_per_s
            effort = estimated_effort(speed_m_per_s, recording.grade, battery_w, rider_power_w, road)
            _add_brakes(recording, track, effort.braking)
    return recording


def _grades(track: RideRecords, paused: list[bool]) -> list[float]:
    # Here and not above: a lesson rides without a recording, and must not wait for numpy.
    from host_sim.bench.recorded_grade import grades

    return grades(track.speed_m_per_s, track.altitude_m, paused)


def _add_speed(recording: Recording, track: RideRecords, speed_m_per_s: list[float]) -> None:
    """Add where the rider was and when the bicycle stood; a second without a speed is not one at rest."""
    from host_sim.bench.recorded_grade import distances_m

    recording.place_m = [float(way_m) for way_m in distances_m(track.speed_m_per_s)]
    recording.speed_m_per_s = smoothed(speed_m_per_s)
    still = [value is not None and value < STANDING_M_PER_S for value in track.speed_m_per_s]
    after = [*still[1:], still[-1]]
    both = zip(recording.paused, still, after, strict=True)
    recording.standing = [paused or (here and then) for paused, here, then in both]


def _add_brakes(recording: Recording, track: RideRecords, braking: list[bool]) -> None:
    """Add the inferred brakes where the speed is known at both ends of the second."""
    known = [value is not None for value in track.speed_m_per_s]
    after = [*known[1:], known[-1]]
    recording.braking = [
        brakes and here and then for brakes, here, then in zip(braking, known, after, strict=True)
    ]
    recording.estimated.append("brakes")


def _estimated(
    track: RideRecords, paused: list[bool], name: str, road: Road, corrections: Corrections
) -> Recording:
    """Return a ride with power, and cadence if none was recorded, computed from its speed."""
    # Pauses inserted by a rule are not recorded cadence.
    known = [value for value, standing in zip(track.cadence_rpm, paused, strict=True) if not standing]
    speed_m_per_s = fill_gaps(track.speed_m_per_s, corrections)
    battery_w = fill_gaps(track.battery_w, Corrections())
    grade = _grades(track, paused)
    effort = estimated_effort(smoothed(speed_m_per_s), grade, battery_w, None, road)
    estimated = ["rider power"]
    if all(value is None for value in known):
        cadence_rpm = cadence_for(effort.rider_power_w)
        estimated.append("cadence")
    else:
        cadence_rpm = fill_gaps(track.cadence_rpm, corrections)
        # A standing crank does no work, whatever wind or slope did to the speed.
        still = [rpm <= 0.0 for rpm in cadence_rpm]
        effort.rider_power_w = [
            0.0 if rests else power for rests, power in zip(still, effort.rider_power_w, strict=True)
        ]
    recording = Recording(name, cadence_rpm, effort.rider_power_w, grade, paused, corrections)
    recording.estimated = estimated
    _add_speed(recording, track, speed_m_per_s)
    _add_brakes(recording, track, effort.braking)
    return recording
