"""`treadle flash`: copies a bundle to a board after a check of the rules, or to a folder for the desk."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.boardlink.bundle import Bundle, bundle_for
from host_sim.boardlink.copying import (
    InterruptedHalfWay,
    Plan,
    check_nothing_foreign,
    check_room,
    copy,
    plan_for,
)
from host_sim.boardlink.forms import check_form
from host_sim.boardlink.inspecting import check_python, our_files, stored_settings
from host_sim.boardlink.manifest import MANIFEST
from host_sim.boardlink.raw_board import BoardTrouble, require_mpremote
from host_sim.boardlink.reach import find_port, raw_board
from host_sim.boardlink.ruling import Ruling, check_names, rule_on
from host_sim.boardlink.targets import target_named
from host_sim.boardlink.whole_folder import refuse_what_exists, write_folder
from host_sim.cli.bundle import BoardOption, FormOption
from host_sim.cli.options import DEFAULT_BIKE, RIDES_MAX, BikeArgument, JsonOption, whole_number
from host_sim.cli.printing import print_json
from host_sim.cli.saying import end, say
from host_sim.errors import RequestError
from host_sim.interruption import INTERRUPTED
from host_sim.outputs import Delivery
from host_sim.progress import progress_bar
from host_sim.rules.judge import Done, Say, Verdict
from host_sim.textfile import spoken

DESK = "desk"


class FlashRequest:
    """The board, its port, the bike, the accepted rules, the number of rides of each kind."""

    def __init__(
        self,
        board: str,
        bike: str,
        port: str | None,
        form: str | None,
        accept: list[str],
        rides: int,
        out: Path | None,
        dry_run: bool,
        force: bool,
    ) -> None:
        """Check and load everything, and find the board, before any ride.

        RequestError says what is wrong, BoardTrouble that no board was found.
        """
        self.target = target_named(board)
        self.bike_given = bike
        self.bike = load_bike(bike)
        self.accepted = check_names(accept)
        self.form = check_form(self.target, form)
        self.rides = rides
        self.dry_run = dry_run
        self.force = force
        self.out = out
        self.port: str | None = None
        if board == DESK:
            if port is not None:
                raise RequestError("the desk has no port, allowed is --out with a folder")
            if out is None:
                raise RequestError(
                    "--out is missing, allowed is --out with the folder to make, since the desk has no port"
                )
            refuse_what_exists(out, force)
        else:
            if out is not None:
                raise RequestError(
                    f"--out is for the desk only, allowed for {board} is --port; treadle bundle makes a "
                    f"folder"
                )
            require_mpremote()
            if not dry_run:
                self.port = find_port(port, self.target)


@dataclass(slots=True)
class FlashResult:
    """The results. `flashed` is False if a rule failed, and after a dry run."""

    request: FlashRequest
    ruling: Ruling
    bundle: Bundle
    flashed: bool = False
    micropython: str | None = None
    plan: Plan | None = None
    settings_replaced: dict[str, tuple[int, int]] = field(default_factory=dict)

    @property
    def holds(self) -> bool:
        """Whether no rule forbids flashing."""
        return not self.ruling.refused

    def as_json(self) -> dict[str, Any]:
        """Return what was done, under the documented keys."""
        plan = self.plan or Plan([], [], [])
        return {
            "board": self.request.target.name,
            "bike": self.request.bike.name,
            "port": self.request.port,
            "folder": None if self.request.out is None else str(self.request.out),
            "flashed": self.flashed,
            "dry_run": self.request.dry_run,
            "micropython": self.micropython,
            "rules": self.ruling.as_json() | {"refused": self.ruling.refusals()},
            "settings_replaced": {name: list(pair) for name, pair in self.settings_replaced.items()},
            "copied": plan.copied,
            "removed": plan.removed,
            "unchanged": plan.unchanged,
            "files": self.bundle.manifest["files"],
        }


@contextmanager
def claimed(request: FlashRequest) -> Iterator[None]:
    """Lock the desk's folder during the block; RequestError, before a ride, if another run is filling it."""
    if request.out is None:
        yield
        return
    with Delivery(request.out.parent, (f"{request.out.name}/{MANIFEST}",), force=True):
        yield  # Only the name is locked: the folder is written as a whole at the end.


def judged(request: FlashRequest, done: Done, say: Say) -> Ruling:
    """Ride, and judge the bike."""
    return rule_on(request.bike, request.rides, request.accepted, done, say)


def flash(request: FlashRequest, ruling: Ruling, done: Callable[[int, int], None]) -> FlashResult:
    """Copy the bundle to its target unless a rule forbids it.

    `done(bytes, all)` reports progress. BoardTrouble says what went wrong at the board.
    """
    bundle = bundle_for(request.target, request.bike, request.form, ruling.as_json())
    result = FlashResult(request, ruling, bundle)
    if not result.holds or request.dry_run:
        return result
    if request.out is not None:
        write_folder(request.out, bundle.files, request.force)
        result.plan = plan_for(bundle, {})
    else:
        _onto_board(request, bundle, result, done)
    result.flashed = True
    return result


def _onto_board(
    request: FlashRequest, bundle: Bundle, result: FlashResult, done: Callable[[int, int], None]
) -> None:
    with raw_board(request.port or "") as board:
        result.micropython = check_python(board, request.target, request.form)
        before = our_files(board)
        result.plan = plan_for(bundle, before)
        if not request.force:
            check_nothing_foreign(bundle, before, board.port)
        check_room(board, bundle, result.plan, before)
        old = stored_settings(board, before)
        if old is not None:
            new = request.bike.firmware_settings.as_dict()
            pairs = {name: (value, new[name]) for name, value in old.as_dict().items()}
            result.settings_replaced = {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}
        total = sum(len(bundle.files[name]) for name in result.plan.copied)
        written = 0

        def wrote(count: int) -> None:
            nonlocal written
            written += count
            done(min(written, total), total)

        copy(board, bundle, result.plan, wrote)


def flash_command(
    board: BoardOption,
    bike: BikeArgument = DEFAULT_BIKE,
    port: Annotated[
        str | None, typer.Option(help="Serial port of the board. Default: the only USB port.")
    ] = None,
    accept: Annotated[
        list[str] | None,
        typer.Option(metavar="RULE", help="Flash even if this rule fails; repeatable."),
    ] = None,
    rides: Annotated[
        int,
        typer.Option(
            parser=whole_number("--rides", 1, RIDES_MAX),
            metavar="NUMBER",
            help="Number of rides of each kind to check the rules on.",
        ),
    ] = 5,
    form: FormOption = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check and list everything, but copy nothing.")
    ] = False,
    out: Annotated[Path | None, typer.Option(help="Only for the desk: the folder to make.")] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace a main.py that is not ours, or an older bundle in --out.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Copy the firmware and the settings of a bike to a board, and verify the copy.

    Rides the bike on the bench first. If a rule fails, nothing is copied unless you accept the rule by name;
    a rule that no ride tested is reported. Then it checks the board's MicroPython, copies, and compares a
    hash of every file on the board. For the desk it makes a folder (--out).

    Example: `treadle flash --board rpi_pico tandem --dry-run`
    """
    try:
        request = FlashRequest(board, bike, port, form, accept or [], rides, out, dry_run, force)
        with claimed(request):
            with progress_bar("riding") as done:
                ruling = judged(request, done, say)
            with progress_bar("copying") as done:
                result = flash(request, ruling, done)
    except BoardTrouble as error:
        end(str(error), 1)
    except InterruptedHalfWay as error:
        end(f"interrupted: {error}", INTERRUPTED)  # Not through typer, whose sentence would be wrong here.
    if as_json:
        print_json(result.as_json())
    else:
        _print_flash(result)
    if not result.holds:
        raise typer.Exit(1)


def _print_flash(result: FlashResult) -> None:
    ruling, made = result.ruling, result.bundle
    bike = spoken(made.manifest["bike"])
    counts = f"{ruling.held} rules hold, {len(ruling.failing)} fail, in {ruling.rides} rides of each kind"
    if ruling.untried:
        counts += f"; {len(ruling.untried)} not tested"
    print(f"{bike} on {made.target.title}: {counts}")
    for verdict in ruling.untried:
        print(f"  not tested: {verdict.rule.name}: {verdict.why_not_shown}; more --rides may test it")
    for verdict in ruling.accepted:
        print(f"  accepted: {_told(verdict)}")
    for verdict in ruling.refused:
        print(f"  fails: {_told(verdict)}")
        print(f"    {verdict.rule.sentence} ({verdict.rule.source})")
    if ruling.refused:
        given = spoken(result.request.bike_given)
        names = " ".join(f'--accept "{verdict.rule.name}"' for verdict in ruling.refused)
        print(f"Nothing was copied. `treadle verify {given}` shows details; to flash all the same: {names}")
    elif not result.flashed:
        for row in made.manifest["files"]:
            print(f"  {len(made.files[row['file']]):>7}  {row['sha256'][:12]}  {row['file']}")
        print(
            f"{len(made.files)} files with manifest.json, {made.size_bytes} bytes. Dry run: nothing copied."
        )
    else:
        _print_done(result)


def _told(verdict: Verdict) -> str:
    return f"{verdict.rule.name}: {verdict.measured:.4g} against {verdict.limit:.4g} {verdict.rule.unit}"


def _print_done(result: FlashResult) -> None:
    plan = result.plan
    assert plan is not None
    for name, (old, new) in result.settings_replaced.items():
        print(f"  setting replaced: {name} was {old}, is {new}")
    if result.request.out is not None:
        print(f"{len(plan.copied)} files in {spoken(result.request.out)}")
        print(f"next: cd {spoken(result.request.out)} && micropython main.py")
        return
    if plan.nothing_to_do:
        print(f"The board at {result.request.port} has all {len(plan.unchanged)} files already.")
    else:
        counts = (
            f"{len(plan.copied)} copied, {len(plan.unchanged)} there already, {len(plan.removed)} removed"
        )
        print(f"{counts}; every file was hashed on the board at {result.request.port}.")
    print(f"MicroPython {result.micropython}. The firmware does not run yet: restart the board.")
    print("First with the driven wheel off the ground, hands clear, and the battery switch within reach.")
