"""`treadle measure`: numbers of a bicycle from logs, with intervals and plots, into its bike file."""

from math import pi
from pathlib import Path
from typing import Any

from host_sim.bikes.load import BIKES, load_bike
from host_sim.bikes.model import Bike
from host_sim.errors import RequestError
from host_sim.measuring.bike_numbers import PLACES, bike_path, write_numbers
from host_sim.measuring.coast_down import fit_coast_downs
from host_sim.measuring.coast_runs import coast_runs
from host_sim.measuring.elevation import fit_rides
from host_sim.measuring.estimate import Estimate, NotEnoughError
from host_sim.measuring.load_steps import fit_load_steps
from host_sim.measuring.log import Log, read_log
from host_sim.measuring.road_law import Masses
from host_sim.measuring.workshop import circumference, straight_line
from host_sim.outputs import Delivery, fresh_folder

COAST, RIDE, LOAD = "coast_down.png", "ride.png", "load_steps.png"
# What can be held against a meter: true = scale times reading plus offset.
KNOWN_UNITS = {"divider": "V", "shunt": "A", "throttle": "V", "selector": "V"}
MASS_KG = (10.0, 1000.0)
DENSITY_KG_PER_M3 = (0.5, 1.6)
AIR_DENSITY_KG_PER_M3 = 1.2  # As the bench has it; dry air at 20 degrees and 1013 hPa has 1.204 (ideal gas).
Found = dict[str, tuple[Estimate, str]]


class MeasureRequest:
    """Which bike, which logs, what is known, and where results go."""

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
    ) -> None:
        """Load and check everything; RequestError says what is wrong."""
        self.path = bike_path(bike)
        self.bike: Bike = load_bike(bike)
        if write and self.path.parent == BIKES:
            raise RequestError(
                f"--write would change the example {self.path.stem}, allowed is a copy of your own"
            )
        if not coast_down and not ride and not load_steps and not pushed and not known:
            raise RequestError(
                "no log is given, allowed are --coast-down, --ride, --load-steps, --pushed, --known; "
                "`treadle measure --help` has the procedures"
            )
        _check("--air-density", air_density, DENSITY_KG_PER_M3, "kg/m3")
        mass_kg = self.bike.bicycle.mass_kg if total_mass_kg is None else total_mass_kg
        _check("--total-mass-kg", mass_kg, MASS_KG, "kg")
        around_m = self.bike.bicycle.wheel_circumference_m
        wheels_kg = self.bike.bicycle.wheel_inertia_kg_m2 * (2.0 * pi / around_m) ** 2
        self.masses = Masses(mass_kg, wheels_kg, air_density)
        self.coast_down = [read_log(path) for path in coast_down]
        self.ride = [read_log(path) for path in ride]
        self.load_steps = [read_log(path) for path in load_steps]
        self.pushed = pushed
        self.known = known
        self.write = write
        self.out = out or fresh_folder("treadle-measure")
        self.force = force or out is None


def _check(name: str, value: float, allowed: tuple[float, float], unit: str) -> None:
    if not allowed[0] <= value <= allowed[1]:
        raise RequestError(f"{name} is {value:g}, allowed is {allowed[0]:g} to {allowed[1]:g} ({unit})")


class MeasureResult:
    """The numbers found, each with how; `missing` has a sentence for each log that was not enough."""

    def __init__(self, request: MeasureRequest) -> None:
        """Start with nothing found."""
        self.request = request
        self.found: Found = {}
        self.missing: list[str] = []
        self.files: list[Path] = []
        self.written: list[str] = []

    def take(self, name: str, estimate: Estimate, how: str) -> None:
        """Keep a number; the one found first stays, so a coast-down goes before a ride."""
        self.found.setdefault(name, (estimate, how))

    def as_json(self) -> dict[str, Any]:
        """Return one entry a number."""
        return {name: estimate.as_json() for name, (estimate, _) in self.found.items()}


def measure(request: MeasureRequest) -> MeasureResult:
    """Fit what the logs tell, draw what is left over, and write the bike file if asked to."""
    result = MeasureResult(request)
    with Delivery(request.out, (), request.force) as delivery:
        _coast_down(request, result, delivery)
        _ride(request, result, delivery)
        _load_steps(request, result, delivery)
        _pushed(request, result)
        _known(request, result)
        if request.write:
            numbers = {name: one for name, one in result.found.items() if name in PLACES}
            if numbers:
                write_numbers(request.path, numbers)
            result.written = sorted(numbers)
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
    for number, log in enumerate(logs, start=1):
        try:
            fit = fit_load_steps(log)
        except NotEnoughError as reason:
            result.missing.append(f"load steps in {log.name}: not enough in this log: {reason}")
            continue
        result.take("pack_resistance_ohm", fit.resistance_ohm, "load steps")
        result.take("no_load_v", fit.no_load_v, "load steps")
        result.take("no_load_fall_v_per_ah", fit.fall_v_per_ah, "load steps")
        draw_load_steps(fit, delivery.add(LOAD if number == 1 else f"load_steps_{number}.png"))


def _pushed(request: MeasureRequest, result: MeasureResult) -> None:
    if request.pushed:
        try:
            found = circumference(request.pushed)
            result.take("wheel_circumference_m", found, f"{len(request.pushed)} pushes")
        except NotEnoughError as reason:
            result.missing.append(f"pushed: not enough: {reason}")


def _known(request: MeasureRequest, result: MeasureResult) -> None:
    """Calibrate what was read against what a meter showed."""
    for name, points in request.known.items():
        try:
            scale, offset = straight_line(points, KNOWN_UNITS[name])
            result.take(f"{name}_scale", scale, f"{len(points)} known values")
            result.take(f"{name}_offset_{KNOWN_UNITS[name].lower()}", offset, f"{len(points)} known values")
        except NotEnoughError as reason:
            result.missing.append(f"known {name}: not enough: {reason}")
