"""`treadle tune`: computes the settings of one bicycle, with figures and reasons, and writes a bike file."""

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption, OutOption, SeedOption
from host_sim.cli.printing import print_json
from host_sim.cli.saying import say
from host_sim.cli.tune_table import print_result
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, fresh_folder, refuse_missing_folder, write_json
from host_sim.progress import progress_bar
from host_sim.refusals import closest
from host_sim.rules.judge import Done, Say, Verdict
from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.tuning.back_off import Within
    from host_sim.tuning.row import Row
    from host_sim.tuning.uncertain import Uncertain

REPORT = "tune.json"
THRESHOLDS, RATES, LOOP = "thresholds.png", "rise_rate.png", "power_loop.png"
BEFORE_AFTER = "before_after.png"
TRADE = "trade_off.png"
NEEDED = {"control": "python-control", "tomlkit": "tomlkit"}
KEEPABLE = (
    "engage_edges", "engage_rpm", "release_rpm", "stop_pitch_percent", "rise_mv_per_s", "fall_mv_per_s",
    "gain_uv_per_w", "integral_ms", "open_map_full_w", "throttle_rest_mv", "throttle_full_mv",
    "battery_foldback_mv", "heat_foldback_decicelsius", "assist_power_w",
)  # fmt: skip
PRIORITY_NAMES = ("calm", "balanced", "quick", "range", "hill", "learner")


class TuneRequest:
    """The bike, the priority, the output folder, and the bike file to write."""

    def __init__(
        self,
        bike: str,
        priority: str = "balanced",
        out: Path | None = None,
        write: Path | None = None,
        seed: int = 1,
        force: bool = False,
        uncertain: bool = False,
        keep: tuple[str, ...] = (),
    ) -> None:
        """Check and load everything; RequestError says what is wrong, before anything is ridden."""
        for module, name in NEEDED.items():
            if find_spec(module) is None:
                raise RequestError(
                    f"treadle tune needs {name}, which is not installed, "
                    "get it with: uv run --extra tune treadle tune"
                )
        if priority not in PRIORITY_NAMES:
            hint = closest(priority, list(PRIORITY_NAMES))
            raise RequestError(f"--priority is {priority[:60]!r}, {hint}")
        self.bike_given = bike
        self.bike = load_bike(bike)
        self.priority = priority
        self.out = out or fresh_folder("treadle-tune")
        self.write = write
        self.seed = seed
        self.force = force
        self.uncertain = uncertain
        self.keep = keep
        for name in keep:
            if name not in KEEPABLE:
                raise RequestError(f"--keep is {name[:60]!r}, {closest(name, list(KEEPABLE))}")
        if write is not None:
            _check_target(write, force)


def _check_target(write: Path, force: bool) -> None:
    """Refuse a file that can't be written, before minutes of riding."""
    if write.suffix != ".toml":
        raise RequestError(f"--write is {spoken(write)}, allowed is a name that ends in .toml")
    refuse_missing_folder(write, "--write")
    if write.is_dir():
        raise RequestError(f"--write is {spoken(write)}, a directory, allowed is a file")
    if write.exists() and not force:
        raise RequestError(f"{spoken(write)} exists already, allowed is another --write, or --force")


class TuneResult:
    """What was found: `rows`, the files, and `tuned`, which keeps `within` the rules.

    `failing` says what a rule refuses even so, `held_back` what was given up for the rules; `not_shown` are
    the rules that no ride tested.
    """

    def __init__(
        self,
        request: TuneRequest,
        within: "Within",
        rows: "list[Row]",
        files: list[Path],
    ) -> None:
        """Store the results."""
        self.request = request
        self.tuned = within.tuned
        self.rows = rows
        self.held_back = within.sentence
        self.failing: list[str] = within.check.refusals
        self.as_before: list[str] = within.check.as_before
        self.not_shown: list[Verdict] = within.check.not_shown
        self.files = files
        self.uncertain: Uncertain | None = None

    @property
    def given_up(self) -> str:
        """A sentence with numbers on what the priority gives up."""
        from host_sim.tuning.trade import given_up

        return given_up(self.tuned)

    @property
    def holds(self) -> bool:
        """Whether the rules allow what is recommended; if not, no bike file is written."""
        return not self.failing

    def as_json(self) -> dict[str, Any]:
        """Return everything under its documented keys."""
        from host_sim.tuning.loop_report import loop_json, rounded

        tuned = self.tuned
        before, after = tuned.before.scores, tuned.after.scores
        return {
            "bike": tuned.bike.name,
            "priority": tuned.priority.name,
            "given_up": self.given_up,
            "held_back": self.held_back,
            "recommendations": [row.as_json() for row in self.rows],
            "loop": None if tuned.loop is None else loop_json(tuned.loop, tuned.bike),
            "score": {"before": rounded(before.total), "after": rounded(after.total)},
            "refusals": self.failing,
            "fails_as_before": self.as_before,
            "rules_not_shown": [verdict.rule.name for verdict in self.not_shown],
            "uncertain": None if self.uncertain is None else self.uncertain.as_json(),
            "files": [str(path) for path in self.files],
        }


def tune(request: TuneRequest, done: Done, say: Say = lambda sentence: None) -> TuneResult:
    """Compute everything, draw the figures, and write the bike file if the rules hold for it.

    The same settings are printed, drawn and written: the best that do no worse than before in any rule.
    """
    # Not at the top: scipy and python-control take seconds to load, and a wrong request is refused at once.
    from host_sim.measuring.bike_numbers import bike_path
    from host_sim.report.tuning_figures import draw_rates, draw_thresholds
    from host_sim.report.tuning_loop_figures import draw_loop
    from host_sim.report.tuning_rides_figure import draw_rides
    from host_sim.report.tuning_trade_figure import draw_trade
    from host_sim.tuning.back_off import tune_within_rules
    from host_sim.tuning.bike_writer import write_bike
    from host_sim.tuning.rows import rows_of
    from host_sim.tuning.score import PRIORITIES
    from host_sim.tuning.uncertain import uncertain

    names = [REPORT, THRESHOLDS, RATES, BEFORE_AFTER, TRADE]
    with Delivery(request.out, tuple(names), request.force) as delivery:
        priority = PRIORITIES[request.priority]
        within = tune_within_rules(request.bike, priority, done, request.seed, request.keep, say)
        tuned = within.tuned
        rows = rows_of(tuned)
        draw_thresholds(tuned, delivery.place(THRESHOLDS))
        draw_rates(tuned, delivery.place(RATES))
        draw_trade(tuned, delivery.place(TRADE))
        if tuned.loop is not None:
            draw_loop(tuned, delivery.add(LOOP))
            names.append(LOOP)
        draw_rides(tuned, delivery.place(BEFORE_AFTER), request.seed)
        result = TuneResult(request, within, rows, [request.out / name for name in names])
        if request.uncertain:
            path, gains = bike_path(request.bike_given), tuned.drive.chosen.settings.gains
            result.uncertain = uncertain(path, tuned.tuned, gains, request.seed, done=done)
        if request.write is not None and result.holds:
            result.files.append(request.write)
        write_json(delivery.place(REPORT), result.as_json())
        if request.write is not None and result.holds:
            write_bike(request.bike_given, tuned, request.write, request.force)
        delivery.deliver()
    return result


def tune_command(
    bike: BikeArgument = DEFAULT_BIKE,
    priority: Annotated[
        str,
        typer.Option(
            "--priority", "--for", metavar="NAME", help=f"What counts more: {', '.join(PRIORITY_NAMES)}."
        ),
    ] = "balanced",
    out: OutOption = None,
    write: Annotated[Path | None, typer.Option(help="Write the tuned bike file here.")] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option(metavar="SETTING", help="Don't change this setting; repeatable."),
    ] = None,
    seed: SeedOption = 1,
    uncertain: Annotated[
        bool,
        typer.Option(
            "--uncertain", help="Also ride 50 bicycles within the intervals of the bike file; takes minutes."
        ),
    ] = False,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Compute the settings of a bike, give reasons, and measure what they change.

    Engage and release, rise rate, power loop with its margins, shares, throttle, fold-backs: each with what
    it assumes and how to check it on the road. All rules and the fault matrix are ridden with the result, and
    what would do worse than before in one of them is held back: what is recommended is what --write writes.
    If that can't be cured, nothing is written and the exit code is 1. --uncertain gives the power loop's
    worst margin over 50 bicycles whose numbers lie within their intervals (or a fifth either way), and what
    to measure next. Simulation is not approval: try computed settings carefully.

    Example: `treadle tune step_through --write my_step_through.toml`
    """
    request = TuneRequest(bike, priority, out, write, seed, force, uncertain, tuple(keep or ()))
    with progress_bar("tuning") as done:
        result = tune(request, done, say)
    if as_json:
        print_json(result.as_json())
    else:
        print_result(result)
    if not result.holds:
        raise typer.Exit(1)
