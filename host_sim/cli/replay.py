"""`treadle ride --replay`: runs the firmware through a log, and compares its decisions with the board's."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from firmware.settings import Settings
from host_sim.bikes.load import load_bike
from host_sim.boardlink.recorded import Loss
from host_sim.cli.printing import print_json, print_rows, whence
from host_sim.cli.saying import say
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, fresh_folder, refuse_missing_folder, whole_file
from host_sim.replay.as_test import shortened, test_of
from host_sim.replay.drawing_data import ReplayTrace
from host_sim.replay.log_file import Section, read_log
from host_sim.replay.stepping import Happened, Replay, replay
from host_sim.textfile import spoken

FILES = ("trace.csv", "ride.png")
NO_ANSWER = (
    "the settings differ from those of the ride: this shows what the firmware would have decided on the "
    "recorded readings; speed, current and battery stay as recorded"
)
LEAST_SECONDS = 0.1  # Fewer can't be drawn.


class ReplayRequest:
    """The log, the settings, and the files to write."""

    def __init__(
        self,
        log: Path,
        bike: str | None,
        changes: list[str],
        out: Path | None,
        force: bool,
        as_test: Path | None,
    ) -> None:
        """Read and check everything before anything is replayed; RequestError says what is wrong."""
        from host_sim.watching.workshop import parse_changes

        self.path = log
        self.log = read_log(log)
        self.section = self.log.longest
        self.bike = None if bike is None else load_bike(bike)
        self.changes = parse_changes(changes)
        self.settings = [self._settings_for(section) for section in self.log.sections]
        self.others = [
            settings.as_dict() != section.firmware_settings().as_dict()
            for settings, section in zip(self.settings, self.log.sections, strict=True)
        ]
        self.out = out or fresh_folder("treadle-replay")
        self.force = force
        self.as_test = as_test
        if as_test is not None:
            self._check_test(as_test)

    def _settings_for(self, section: Section) -> Settings:
        settings = section.firmware_settings() if self.bike is None else self.bike.firmware_settings
        try:
            return Settings(settings.as_dict() | self.changes)
        except ValueError as error:
            raise RequestError(f"--set: {error}") from None

    def _check_test(self, path: Path) -> None:
        if any(self.others):
            raise RequestError(
                "--as-test is given with other settings, allowed is --as-test with the settings of the ride"
            )
        if path.suffix != ".py" or not path.name.startswith("test_"):
            raise RequestError(
                f"--as-test is {spoken(path)}, allowed is a name like test_….py, so that pytest finds it"
            )
        refuse_missing_folder(path, "--as-test")


@dataclass(slots=True)
class ReplayResult:
    """The result of each section, and the files."""

    request: ReplayRequest
    found: list[Replay]
    files: list[Path]

    @property
    def complaint(self) -> str:
        """One sentence if the firmware decided differently from the board, the first; else empty."""
        for other, found in zip(self.request.others, self.found, strict=True):
            if found.loss is not None:
                return _hole(found.loss)
            if not other and found.parting is not None:
                return f"the firmware differs from the board {found.parting.sentence()}"
            if not other and found.agrees_from is None:
                return (
                    f"the log is too short to reconstruct its initial state: {found.steps} steps, allowed "
                    f"is some seconds"
                )
        return ""

    def as_json(self) -> dict[str, Any]:
        """Return the results under the documented keys."""
        sections = zip(self.request.log.sections, self.request.others, self.found, strict=True)
        return {
            "log": str(self.request.path),
            "ended": self.request.log.ended,
            "sections": [_section_as_json(*one) for one in sections],
            "note": NO_ANSWER if any(self.request.others) else None,
            "complaint": self.complaint or None,
            "files": [str(path) for path in self.files],
        }


def _hole(loss: Loss) -> str:
    return f"the log lacks {loss.steps or 'some'} steps before step {loss.before}: replayed up to there"


def _section_as_json(section: Section, other: bool, found: Replay) -> dict[str, Any]:
    parting = found.parting
    return {
        "board": section.board,
        "form": section.form,
        "other_settings": other,
        "from_start": found.from_start,
        "steps": found.steps,
        "seconds": round(found.seconds, 3),
        "equal_steps": found.steps - found.different,
        "parts_at_step": None if parting is None else parting.step,
        "parts_at_s": None if parting is None else round(parting.time_s, 3),
        "differences": None if parting is None else parting.differences,
        "put_right_steps": found.put_right,
        "agrees_from_step": found.agrees_from,
        "lost_steps": None if found.loss is None else found.loss.steps,
        "faults": _told(found.faults),
        "board_faults": _told(found.board_faults),
        "first_cause": found.faults[0].name if found.faults else None,
    }


def _told(faults: list[Happened]) -> list[dict[str, Any]]:
    return [{"step": one.step, "time_s": round(one.time_s, 3), "name": one.name} for one in faults]


def replay_log(request: ReplayRequest) -> ReplayResult:
    """Replay every section, draw the longest, and write the test if requested."""
    with Delivery(request.out, FILES, request.force) as delivery:
        found = []
        trace, picture = delivery.place(FILES[0]), delivery.place(FILES[1])
        for section, settings in zip(request.log.sections, request.settings, strict=True):
            if section is request.section:
                found.append(_replay_and_draw(request, section, settings, trace, picture))
            else:
                found.append(replay(section, settings))
        result = ReplayResult(request, found, [])
        tests = [] if request.as_test is None else _write_test(request, result)
        result.files = delivery.deliver() + tests
    return result


def _replay_and_draw(
    request: ReplayRequest, section: Section, settings: Settings, trace_path: Path, picture: Path
) -> Replay:
    from host_sim.report.ride_facts import RideFacts
    from host_sim.report.ride_figure import draw_ride

    with trace_path.open("w", encoding="utf-8") as file:
        trace = ReplayTrace(file)
        found = replay(section, settings, trace.look)
    other = any(request.others)
    how_set = "with other settings" if other else "as it was set"
    facts = RideFacts(
        bike=request.bike.title if request.bike is not None else f"{section.board}, {how_set}",
        ride=f"{request.path.name}, replayed" + (": speed and current as recorded" if other else ""),
        seconds=max(found.seconds, LEAST_SECONDS),
        settings=settings,
        events=trace.events,
        edges=trace.edges,
        edges_before=trace.edges_before,
        edges_centre_us=trace.centre_us,
    )
    draw_ride(trace_path, facts, picture)
    return found


def _write_test(request: ReplayRequest, result: ReplayResult) -> list[Path]:
    path = request.as_test
    assert path is not None
    if result.complaint:
        raise RequestError(f"--as-test does not write a failing test: {result.complaint}")
    whole = result.found[request.log.sections.index(request.section)]
    section = shortened(request.section, whole)
    text = test_of(section, replay(section, section.firmware_settings()), request.path.name)
    with whole_file(path, request.force, "--as-test") as place:
        place.write_text(text, encoding="utf-8", newline="\n")
    return [path]


def replay_command(request: ReplayRequest, as_json: bool) -> None:
    """Replay the log and print the results; exit code 1 if they differ from the board's."""
    result = replay_log(request)
    if as_json:
        print_json(result.as_json())
    else:
        _print(result)
    if result.complaint:
        say(result.complaint)
        raise typer.Exit(1)


def _print(result: ReplayResult) -> None:
    request = result.request
    for section, other, found in zip(request.log.sections, request.others, result.found, strict=True):
        print_rows(_rows(section, other, found))
    if not request.log.ended:
        print("the log has no end mark: its recording was interrupted, or its end was cut off")
    if any(request.others):
        print(NO_ANSWER)
    for path in result.files:
        print(spoken(path))


def _rows(section: Section, other: bool, found: Replay) -> list[tuple[str, str]]:
    return [
        ("board, form", f"{spoken(section.board)}, {spoken(section.form)}"),
        ("replayed", f"{found.steps} steps, {found.seconds:.1f} s, {whence(found.from_start)}"),
        ("as on the board" if not other else "with other settings", _agreement(other, found)),
        ("faults", _faults(found.faults)),
        *([("faults on the board", _faults(found.board_faults))] if other else []),
    ]


def _agreement(other: bool, found: Replay) -> str:
    equal = found.steps - found.different
    if other:
        share = 100 * equal / max(found.steps, 1)
        first = "" if found.parting is None else f"; first {found.parting.sentence()}"
        return f"{equal} steps ({share:.1f} %) decided alike{first}"
    if found.parting is not None:
        return f"{found.equal} steps, then not"
    if found.different == 0:
        return f"all {found.equal} steps, bit for bit"
    if found.agrees_from is None:
        return f"{equal} steps, not to the end"
    return (
        f"from step {found.agrees_from} on, bit for bit; before, its unknown state was put right "
        f"in {found.put_right} steps"
    )


def _faults(faults: list[Happened]) -> str:
    if not faults:
        return "none"
    lines = [f"{fault.time_s:.2f} s, step {fault.step}: {fault.name}" for fault in faults[:10]]
    lines[0] += " (first cause)"
    more = len(faults) - len(lines)
    return "\n".join(lines + ([f"and {more} more"] if more else []))
