"""Scenarios of failures: wires, sensors, a lost supply, noise, a stalled loop."""

from random import Random

from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines, Scenario
from host_sim.rules.riding import on_roller, rest


class FaultWhileDriving(Scenario):
    """One fault of a list, while the motor drives; the legs go on, rest, and begin again."""

    def __init__(self, name: str, sentence: str, faults: tuple[dict[str, object], ...]) -> None:
        """Choose from `faults` by the number of the ride."""
        self.name = name
        self.sentence = sentence
        self._faults = faults

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Drive for 6 s, the fault for 12 s, healed for 3 s; then the legs rest, and go on."""
        fault = self._faults[seed % len(self._faults)]
        name = str(fault["name"])
        if name.startswith("throttle") and not bike.throttle.fitted:
            return None
        if name.startswith("selector") and bike.selector.kind == "none":
            return None
        if name.startswith("shunt") and not bike.shunt.fitted:
            return None
        start_s = rest(bike)
        speed = draw.uniform(6.0, 9.0) if name == "shunt reading dead" else draw.uniform(6.0, 20.0)
        drive = {"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 95.0)}
        fault_s = start_s + 6.0 + draw.random()
        rest_s = fault_s + 15.0
        return rest_s + rest(bike) + 4.0, [
            on_roller(speed),
            drive,
            {"at_s": fault_s, "fault": [fault]},
            {"at_s": fault_s + 12.0, "fault": []},
            {"at_s": rest_s, "cadence_rpm": 0},
            {"at_s": rest_s + rest(bike), "cadence_rpm": 60.0},
        ]


class ThrottleStuck(Scenario):
    """The throttle sticks open; only the brake, and a speed limit of the place, end its help."""

    name = "throttle stuck"
    sentence = "the throttle sticks open while it drives, then the brake is pulled"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Opened, stuck after 2 to 3 s, braked 4 s later."""
        if not bike.throttle.fitted or bike.brakes.switches == "none":
            return None
        start_s = rest(bike)
        stuck_s = start_s + 2.0 + draw.random()
        return stuck_s + 8.0, [
            on_roller(draw.uniform(0.0, 4.0)),
            {"at_s": start_s, "throttle_percent": draw.uniform(50.0, 100.0)},
            {"at_s": stuck_s, "fault": [{"name": "throttle stuck"}]},
            {"at_s": stuck_s + 4.0, "brake": True},
        ]


class ShuntStuck(Scenario):
    """The shunt's reading stands still while the motor drives."""

    name = "shunt stuck"
    sentence = "the shunt's reading stands still while the motor drives, then the legs stop"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Stuck for 8 s; the legs stop after 4 of them."""
        if not bike.shunt.fitted:
            return None
        start_s = rest(bike)
        stuck_s = start_s + draw.uniform(1.0, 6.0)
        return stuck_s + 9.0, [
            on_roller(draw.uniform(6.0, 18.0)),
            {"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 90.0)},
            {"at_s": stuck_s, "fault": [{"name": "shunt reading stuck"}]},
            {"at_s": stuck_s + 4.0, "cadence_rpm": 0},
            {"at_s": stuck_s + 8.0, "fault": []},
        ]


class Overrun(Scenario):
    """Crank edges come faster than they are read."""

    name = "lost edges"
    sentence = "so much noise, or so long a stall, that crank edges are lost"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Noise of 0.5 s while a step takes 40 ms, or one stall as long as 100 edges; then the legs go on."""
        start_s = rest(bike)
        burst_s = start_s + 4.0 + draw.random()
        cadence = draw.uniform(50.0, 90.0)
        faults: Lines = [{"name": "noise", "per_s": 5000.0}, {"name": "loop stalls", "stall_ms": 40}]
        burst_for_s = 0.5
        if seed % 2:
            burst_for_s = 100.0 * 60.0 / (bike.pedal_sensor.edges_per_turn * cadence)
            faults = [{"name": "loop stalls", "stall_ms": round(burst_for_s * 1000.0)}]
        return burst_s + burst_for_s + 8.0, [
            on_roller(draw.uniform(6.0, 18.0)),
            {"at_s": start_s, "cadence_rpm": cadence},
            {"at_s": burst_s, "fault": faults},
            {"at_s": burst_s + burst_for_s, "fault": []},
        ]


class BrownOut(Scenario):
    """The supply is lost for a moment while riding."""

    name = "brown-out"
    sentence = "the supply lost for a moment while the crank turns"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Lost for 0.05 to 2 s; the crank keeps turning for 6 s, rests, turns again."""
        start_s = rest(bike)
        lost_s = start_s + 6.0 + draw.random()
        back_s = lost_s + draw.uniform(0.05, 2.0)
        return back_s + 12.0 + rest(bike), [
            on_roller(draw.uniform(5.0, 20.0)),
            {"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 95.0)},
            {"at_s": lost_s, "power_switch": False},
            {"at_s": back_s, "power_switch": True},
            {"at_s": back_s + 6.0, "cadence_rpm": 0},
            {"at_s": back_s + 6.0 + rest(bike), "cadence_rpm": 60.0},
        ]


class NoiseAtRest(Scenario):
    """Noise on the pedal sensor of a standing bicycle."""

    name = "noise at rest"
    sentence = "noise pulses on the pedal sensor of a standing bicycle, more and more"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Five bursts."""
        start_s = rest(bike)
        lines: Lines = [on_roller(0)]
        for index, rate in enumerate((1.0, 5.0, 20.0, 100.0, 1000.0)):
            fault = {"name": "noise", "per_s": rate * draw.uniform(0.5, 1.0)}
            lines.append({"at_s": start_s + 4.0 * index, "fault": [fault]})
        return start_s + 22.0, lines


def channel_faults(name: str) -> tuple[dict[str, object], ...]:
    """Return a fault of the pedal sensor for each channel."""
    return tuple({"name": name, "channel": channel} for channel in "AB")
