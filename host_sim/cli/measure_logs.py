"""What `treadle measure` makes of each kind of log: numbers, a picture of the residuals, or why not."""

from math import pi
from pathlib import Path
from typing import Any

from host_sim.bikes.load import BIKES, load_bike
from host_sim.bikes.model import Bike
from host_sim.cli.measure_options import DENSITY_KG_PER_M3, KNOWN_UNITS, MASS_KG
from host_sim.cli.options import check_range
from host_sim.errors import RequestError
from host_sim.measuring.bike_numbers import PLACES, bike_path, write_numbers
from host_sim.measuring.coast_down import fit_coast_downs
from host_sim.measuring.coast_runs import coast_runs
from host_sim.measuring.elevation import fit_rides
from host_sim.measuring.estimate import Estimate, NotEnoughError
from host_sim.measuring.load_steps import fit_load_steps
from host_sim.measuring.log import Log, read_log
from host_sim.measuring.road_law import Masses
from host_sim.measuring.stand_run import bike_numbers, fit_stand_run
from host_sim.measuring.stand_search import Guess
from host_sim.measuring.workshop import LineFit, circumference, straight_line
from host_sim.outputs import Delivery, fresh_folder, refuse_missing_folder

COAST, RIDE, LOAD, STAND = "coast_down.png", "ride.png", "load_steps.png", "stand_run.png"
PUSHED, KNOWN = "pushed.png", "known.png"
AIR_DENSITY_KG_PER_M3 = 1.2  # As the bench has it; dry air at 20 degrees and 1013 hPa has 1.204 (ideal gas).
Found = dict[str, tuple[Estimate, str]]


class MeasureRequest:
    """The bike, the logs, the known values, and the output folder."""

    def __init__(
        self,
        bike: str,
        coast_down: list[Path],
        ride: list[Path],
        load_steps: list[Path],
        pushed: list[tuple[float, float]],
        known: dict[str, list[tuple[float, float]]],
        total_mass_kg: float | None = None,
        air_density: float = AIR_DENSITY_KG_PER_M3,
        write: bool = False,
        out: Path | None = None,
        force: bool = False,
        stand: list[Path] | None = None,
    ) -> None:
        """Load and check everything; RequestError says what is wrong."""
        self.path = bike_path(bike)
        self.bike: Bike = load_bike(bike)
        if write and self.path.parent == BIKES:
            raise RequestError(
                f"--write would change the example {self.path.stem}, allowed is a copy of your own"
            )
        if not any((coast_down, ride, stand, load_steps, pushed, known)):
            raise RequestError(
                "no log is given, allowed is one or more of --coast-down, --ride, --stand, --load-steps, "
                "--pushed, --known; "
                "`treadle measure --help` has the procedures"
            )
        check_range("--air-density", air_density, DENSITY_KG_PER_M3, "kg/m3")
        mass_kg = self.bike.bicycle.mass_kg if total_mass_kg is None else total_mass_kg
        check_range("--total-mass-kg", mass_kg, MASS_KG, "kg")
        around_m = self.bike.bicycle.wheel_circumference_m
        wheels_kg = self.bike.bicycle.wheel_inertia_kg_m2 * (2.0 * pi / around_m) ** 2
        self.masses = Masses(mass_kg, wheels_kg, air_density)
        self.coast_down = [read_log(path) for path in coast_down]
        self.ride = [read_log(path) for path in ride]
        self.load_steps = [read_log(path) for path in load_steps]
        self.stand = [read_log(path) for path in stand or []]
        self.pushed = pushed
        self.known = known
        self.write = write
        self.out = out or fresh_folder("treadle-measure")
        self.force = force


class MeasureResult:
    """The numbers found, each with its method; `missing` has a sentence for each log that was not enough."""

    def __init__(self, request: MeasureRequest) -> None:
        """Start without numbers."""
        self.request = request
        self.found: Found = {}
        self.kinds: list[str] = []
        self.notes: list[str] = []
        self.missing: list[str] = []
        self.files: list[Path] = []
        self.written: list[str] = []

    def take(self, name: str, estimate: Estimate, how: str) -> None:
        """Store a number unless there is one already: a coast-down takes precedence over a ride."""
        self.found.setdefault(name, (estimate, how))

    def as_json(self) -> dict[str, Any]:
        """Return one entry for each number; the motor controller's kind is a word without an interval."""
        entries: dict[str, Any] = {name: estimate.as_json() for name, (estimate, _) in self.found.items()}
        if self.kinds:
            kind = self.kinds[0]
            entries["motor_controller_kind"] = {"value": kind, "low": kind, "high": kind, "unit": ""}
        return entries

    def take_kind(self, name: str, kind: str) -> None:
        """Store what a stand run says that the command sets; note it if the bike file says otherwise."""
        self.kinds.append(kind)
        said = self.request.bike.motor_controller.kind
        if kind != said:
            self.notes.append(
                f"{name}: the motor controller is of the {kind} kind, the bike file says {said}"
            )
        if kind != self.kinds[0]:
            raise RequestError(
                f"{name}: it is of the {kind} kind, allowed is {self.kinds[0]} as in the first stand run"
            )


def measure(request: MeasureRequest) -> MeasureResult:
    """Fit the logs, draw the residuals, and write the bike file if requested."""
    result = MeasureResult(request)
    refuse_missing_folder(request.out, "--out")
    with (
        # The names of the pictures are not known yet, so the folder itself is locked.
        Delivery(request.out.parent, (f"{request.out.name}/measure",), force=True),
        Delivery(request.out, (), request.force) as delivery,
    ):
        _coast_down(request, result, delivery)
        _ride(request, result, delivery)
        _load_steps(request, result, delivery)
        _stand(request, result, delivery)
        _pushed(request, result, delivery)
        _known(request, result, delivery)
        if request.write:
            numbers = {name: one for name, one in result.found.items() if name in PLACES}
            kind = result.kinds[0] if result.kinds else ""
            if numbers or kind:
                write_numbers(request.path, numbers, kind)
            result.written = sorted([*numbers, *["motor_controller_kind"] * bool(kind)])
        result.files = delivery.deliver()
    return result


def _coast_down(request: MeasureRequest, result: MeasureResult, delivery: Delivery) -> None:
    from host_sim.report.measure_figures import draw_coast_down

    runs = [run for log in request.coast_down for run in coast_runs(log)]
    if not request.coast_down:
        return
    try:
        fit = fit_coast_downs(runs, request.masses)
    except NotEnoughError as reason:
        result.missing.append(f"coast-down: not enough in this log: {reason}")
        return
    result.take("crr", fit.crr, f"{len(runs)} coast-downs")
    result.take("cda_m2", fit.cda_m2, f"{len(runs)} coast-downs")
    draw_coast_down(fit, delivery.add(COAST))


def _ride(request: MeasureRequest, result: MeasureResult, delivery: Delivery) -> None:
    from host_sim.report.measure_figures import draw_ride

    if not request.ride:
        return
    try:
        fit = fit_rides(request.ride, request.masses, request.bike.bicycle.chain_efficiency)
    except NotEnoughError as reason:
        result.missing.append(f"ride: not enough in this log: {reason}")
        return
    result.take("crr", fit.crr, "elevation balance")
    result.take("cda_m2", fit.cda_m2, "elevation balance")
    draw_ride(fit, delivery.add(RIDE))


def _load_steps(request: MeasureRequest, result: MeasureResult, delivery: Delivery) -> None:
    from host_sim.report.measure_figures import draw_load_steps

    logs: list[Log] = request.load_steps
    for position, log in enumerate(logs, start=1):
        try:
            fit = fit_load_steps(log)
        except NotEnoughError as reason:
            result.missing.append(f"load steps in {log.name}: not enough in this log: {reason}")
            continue
        result.take("pack_resistance_ohm", fit.resistance_ohm, "load steps")
        result.take("no_load_v", fit.no_load_v, "load steps")
        result.take("no_load_fall_v_per_ah", fit.fall_v_per_ah, "load steps")
        draw_load_steps(fit, delivery.add(LOAD if position == 1 else f"load_steps_{position}.png"))


def _stand(request: MeasureRequest, result: MeasureResult, delivery: Delivery) -> None:
    from host_sim.report.measure_figures import draw_stand_run

    bike = request.bike
    motor = bike.motor
    guess = Guess(
        bike.motor_controller.full_v, motor.current_limit_a, motor.resistance_ohm, motor.no_load_current_a
    )
    for position, log in enumerate(request.stand, start=1):
        try:
            fit = fit_stand_run(log, guess)
        except NotEnoughError as reason:
            result.missing.append(f"stand run in {log.name}: not enough in this log: {reason}")
            continue
        result.take_kind(log.name, fit.kind)
        for name, estimate in bike_numbers(fit, bike.bicycle.wheel_circumference_m).items():
            result.take(name, estimate, "stand run")
        for unsure in fit.unsure:
            result.missing.append(f"stand run in {log.name}: not enough in this log for {unsure}")
        draw_stand_run(fit, delivery.add(STAND if position == 1 else f"stand_run_{position}.png"))


def _pushed(request: MeasureRequest, result: MeasureResult, delivery: Delivery) -> None:
    from host_sim.report.measure_figures import draw_pushes

    if not request.pushed:
        return
    try:
        fit = circumference(request.pushed)
    except NotEnoughError as reason:
        result.missing.append(f"pushed: not enough: {reason}")
        return
    result.take("wheel_circumference_m", fit.slope, f"{len(request.pushed)} pushes")
    draw_pushes(fit, delivery.add(PUSHED))


def _known(request: MeasureRequest, result: MeasureResult, delivery: Delivery) -> None:
    """Calibrate readings with a meter."""
    from host_sim.report.measure_figures import draw_known

    fits: dict[str, tuple[LineFit, str]] = {}
    for name, points in request.known.items():
        unit = KNOWN_UNITS[name]
        try:
            fit = straight_line(points, unit)
        except NotEnoughError as reason:
            result.missing.append(f"known {name}: not enough: {reason}")
            continue
        fits[name] = fit, unit
        result.take(f"{name}_scale", fit.slope, f"{len(points)} known values")
        result.take(f"{name}_offset_{unit.lower()}", fit.at_zero, f"{len(points)} known values")
    if fits:
        draw_known(fits, delivery.add(KNOWN))
