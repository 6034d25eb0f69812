"""`treadle verify`: check a bike against the rules, before anyone rides it."""

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bench.named_controller import named_controller
from host_sim.bikes.load import load_bike
from host_sim.cli.options import (
    DEFAULT_BIKE,
    RIDES_MAX,
    BikeArgument,
    ControllerOption,
    ForceOption,
    JsonOption,
    OutOption,
    SeedOption,
    whole_number,
)
from host_sim.cli.printing import print_json, rounded
from host_sim.cli.saying import say
from host_sim.cli.verify_faults import FaultsRequest, verify_faults_command
from host_sim.cli.verify_table import print_verdicts
from host_sim.errors import RequestError
from host_sim.interruption import INTERRUPTED, ended_as_interrupted
from host_sim.outputs import Delivery, fresh_folder, write_json
from host_sim.progress import progress_bar
from host_sim.report.ride_and_draw import Worst, ride_and_draw
from host_sim.rules.catalogue import RULES, rule_named
from host_sim.rules.judge import Done, Judging, Say, Verdict
from host_sim.rules.worst_moment import worst_moment_us

REPORT = "verify.json"


class VerifyRequest:
    """The bike, the rules, the number of rides of each kind, the first seed and the output folder."""

    def __init__(
        self,
        bike: str,
        rule: str | None,
        seed: int,
        rides: int,
        out: Path | None,
        force: bool,
        controller: str | None = None,
    ) -> None:
        """Check and load everything before the first ride; RequestError says what is wrong."""
        self.bike_given = bike
        self.bike = load_bike(bike)
        self.rules = RULES if rule is None else (rule_named(rule),)
        self.controller = controller
        self.build = named_controller(controller, self.bike.firmware_settings)
        self.seed = seed
        self.rides = rides
        self.out = out or fresh_folder("treadle-verify")
        self.force = force


class VerifyResult:
    """The verdicts, the rides of each kind, whether they were interrupted, and the files."""

    def __init__(self, request: VerifyRequest, judging: Judging, interrupted: bool) -> None:
        """Store the results."""
        self.request = request
        self.verdicts = judging.verdicts()
        self.ridden = judging.ridden
        self.interrupted = interrupted
        self.files: list[Path] = []

    @property
    def fails(self) -> bool:
        """Whether a rule fails. A rule that was not shown doesn't fail: no ride has broken it."""
        return any(verdict.fails for verdict in self.verdicts)

    def as_json(self) -> list[dict[str, Any]]:
        """Return one entry for each rule that applies; README.md in `rules` explains the keys."""
        return [self._entry(verdict) for verdict in self.verdicts if verdict.applies]

    @property
    def asked_about(self) -> str:
        """What was checked, as arguments of the command line."""
        request = self.request
        controller = "" if request.controller is None else f" --controller {request.controller}"
        return request.bike_given + controller

    def repeat(self, verdict: Verdict) -> str:
        """Return the command that rides the worst case of a rule again."""
        ride = f"--seed {verdict.seed} --rides 1"
        return f'treadle verify {self.asked_about} --rule "{verdict.rule.name}" {ride}'

    def _entry(self, verdict: Verdict) -> dict[str, Any]:
        return {
            "rule": verdict.rule.name,
            "verdict": verdict.outcome,
            "holds": verdict.holds,
            "measured": rounded(verdict.measured, 4),
            "limit": rounded(verdict.limit, 4),
            "unit": verdict.rule.unit,
            "margin": rounded(verdict.margin, 4),
            "seed": verdict.seed,
            "source": verdict.rule.source,
            "rides": verdict.ridden,
            "interrupted": self.interrupted,
            "controller": self.request.controller,
        }


def verify(request: VerifyRequest, done: Done, say: Say) -> VerifyResult:
    """Ride, judge, write the report and a picture of the worst case of every rule that fails.

    After an interruption (Ctrl-C, SIGTERM) the finished rides are judged and the report is written, without
    pictures. KeyboardInterrupt if no ride was finished, or if the writing is interrupted: then no file is
    left behind.
    """
    with ended_as_interrupted(), Delivery(request.out, (REPORT,), request.force) as delivery:
        judging = Judging(request.bike, request.rules, request.seed, request.rides, request.build)
        interrupted = False
        try:
            judging.ride(done, say=say)
        except KeyboardInterrupt:
            if not any(judging.ridden.values()):
                raise
            interrupted = True
        result = VerifyResult(request, judging, interrupted)
        for verdict in result.verdicts:
            if verdict.fails and not interrupted:
                picture = delivery.add(verdict.rule.name.replace(" ", "-") + ".png")
                _draw_worst(request, verdict, delivery.place("trace.csv"), picture)
        write_json(delivery.place(REPORT), result.as_json())
        result.files = delivery.deliver()
    return result


def _draw_worst(request: VerifyRequest, verdict: Verdict, trace: Path, picture: Path) -> None:
    """Ride the worst case once more and draw it."""
    scenario = next(kind for kind in verdict.rule.scenarios if kind.name == verdict.scenario)
    case = scenario.case(request.bike, verdict.seed or 0)
    if case is not None:
        case.build = request.build
        measured = f"{verdict.measured:.3g} against {verdict.limit:.3g} {verdict.rule.unit}"
        title = f"{verdict.rule.name}: {measured} ({verdict.scenario}, {verdict.seed})"
        moment_us = worst_moment_us(case, verdict.rule)
        worst = None if moment_us is None else Worst(moment_us, f"worst here: {measured}")
        seconds = case.course.seconds
        ride_and_draw(case.bench(), case.bike, case.script(), seconds, title, trace, picture, worst)


def verify_command(
    bike: BikeArgument = DEFAULT_BIKE,
    rule: Annotated[str | None, typer.Option(help="Only this rule, by its name in the table.")] = None,
    faults: Annotated[
        bool, typer.Option("--faults", help="Ride the fault matrix: every input fails in every way.")
    ] = False,
    seed: SeedOption = 1,
    rides: Annotated[
        int,
        typer.Option(
            parser=whole_number("--rides", 1, RIDES_MAX),
            metavar="NUMBER",
            help="Number of rides of each kind; each has its own seed.",
        ),
    ] = 50,
    out: OutOption = None,
    force: ForceOption = False,
    controller: ControllerOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check a bike against the timing and safety rules, with and without faults.

    A rule holds, fails, or is not shown. Not shown means that no ride tested it, although up to four times
    as many rides were tried. Exit code 0 if no rule fails, 1 if one fails. Writes verify.json, and a picture
    of the worst case of every rule that fails. Ctrl-C keeps the results of the finished rides (exit code
    130). Simulation is not approval: a rule that holds here may fail on the road. Try it carefully.

    With --faults each input fails in every way, at five speeds. The simulator's true power, speed and crank
    decide, not what the sensors read. Writes faults.json and faults.png. Exit code 1 if a cell exceeds the
    limits by more than the hazard table states.

    Example: `treadle verify folding --rule "steady help" --rides 200`
    """
    if faults:
        if controller is not None:
            raise RequestError("--faults and --controller are both given, only one of them is allowed")
        if not verify_faults_command(FaultsRequest(bike, rule, seed, out, force), as_json):
            raise typer.Exit(1)
        return
    request = VerifyRequest(bike, rule, seed, rides, out, force, controller)
    with progress_bar("riding") as done:
        result = verify(request, done, say)
    if as_json:
        print_json(result.as_json())
    else:
        print_verdicts(result)
    if result.interrupted:
        say(_cut_short(result))
        sys.stdout.flush()
        sys.exit(INTERRUPTED)
    if result.fails:
        raise typer.Exit(1)


def _cut_short(result: VerifyResult) -> str:
    """Say how many rides of each kind were finished."""
    ridden = sorted(result.ridden.values())
    of_each = f"{ridden[0]} to {ridden[-1]}" if ridden[0] != ridden[-1] else str(ridden[0])
    of_all = f"{of_each} of {result.request.rides} of each kind"
    return f"interrupted; the report covers the finished rides: {of_all}"
