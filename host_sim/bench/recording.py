"""A recorded ride, made ready for the bench: one entry a second, nothing empty, nothing implausible.

The recording gives what the rider and the road did: cadence, rider power and grade. The bicycle's own speed
comes from the physics, so the recorded speed is used only to find out where on the hill the rider was.
The rules by which a recording is changed stand in `recording_rules` and in host_sim/recordings/README.md;
how often each was used is counted in `Recording.corrections`.
"""

from pathlib import Path

from host_sim.bench.recorded_csv import read_csv
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
from host_sim.textfile import find_file, names_in, spoken

RECORDINGS = Path(__file__).resolve().parent.parent / "recordings"
_SUFFIXES = (".csv", ".fit")


class Recording:
    """A ride by the second: entry i of each list is what held i seconds after the start.

    cadence_rpm 0 to 200, rider_power_w 0 to 2500, grade as rise over run within ±0.25, paused True where
    the recorder was switched off: the rider stands with the brakes on.
    """

    __slots__ = ("cadence_rpm", "corrections", "grade", "name", "paused", "rider_power_w")

    def __init__(
        self,
        name: str,
        cadence_rpm: list[float],
        rider_power_w: list[float],
        grade: list[float],
        paused: list[bool],
        corrections: Corrections,
    ) -> None:
        """Take lists of equal length, else ValueError."""
        if not len(cadence_rpm) == len(rider_power_w) == len(grade) == len(paused):
            raise ValueError("cadence_rpm, rider_power_w, grade and paused must have equal lengths")
        self.name = name
        self.cadence_rpm = cadence_rpm
        self.rider_power_w = rider_power_w
        self.grade = grade
        self.paused = paused
        self.corrections = corrections

    @property
    def seconds(self) -> int:
        """How long the ride is, pauses shortened."""
        return len(self.cadence_rpm)


def recording_names() -> list[str]:
    """Return the names of the recordings that come with the package."""
    return names_in(RECORDINGS, _SUFFIXES)


def read_recording(path_or_name: str | Path) -> Recording:
    """Return the ride in a CSV or FIT file, or in one of our own by its name; else RequestError."""
    path = find_file(path_or_name, RECORDINGS, _SUFFIXES, "recording")
    if path.suffix.lower() not in _SUFFIXES:
        raise RequestError(f"{spoken(path.name)}: a recording ends in .csv or .fit")
    records = read_fit(path) if path.suffix.lower() == ".fit" else read_csv(path)
    return recording_from(records, path.stem)


def recording_from(records: RideRecords, name: str) -> Recording:
    """Apply the rules, in their order, to what a recorder wrote."""
    corrections = Corrections()
    track, paused = lay_out_seconds(records, corrections)
    cadence_rpm = fill_gaps(track.cadence_rpm, corrections)
    rider_power_w = fill_gaps(track.rider_power_w, corrections)
    remove_spikes(cadence_rpm, rider_power_w, paused, corrections)
    join_lagging_cadence(cadence_rpm, rider_power_w, corrections)
    # Here and not above: a lesson rides without a recording, and must not wait for numpy.
    from host_sim.bench.recorded_grade import grades

    grade = grades(track.speed_m_per_s, track.altitude_m, paused)
    return Recording(name, cadence_rpm, rider_power_w, grade, paused, corrections)
