"""The rides that exercise the rules: one class for each kind, every ride made from its number.

All are courses in the words of a course file, so each can be written down and ridden again. On the roller
the speed is given, as on a test stand; elsewhere it comes from the physics.
"""

from random import Random

from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines, Scenario

KM_PER_H = 0.0036  # km/h in a mm/s.


def cutoff_km_per_h(bike: Bike) -> float:
    """Return the cut-off speed that the bike is set to."""
    return bike.firmware_settings.cutoff_speed_mm_per_s * KM_PER_H


def rest(bike: Bike) -> float:
    """Return how long to stand after switching on until the controls have been at rest, generously."""
    settings = bike.firmware_settings
    return 2.0 + 60.0 / (settings.pulses_per_rev * settings.release_rpm)


class SuddenStop(Scenario):
    """Speeds 10, 20 and 25 km/h and just under the cut-off, in turn."""

    name = "sudden stop"
    sentence = "pedalling on the roller, then the legs stop at once"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Pedal for 8 s at one speed, stop, twice."""
        speeds = (10.0, 20.0, min(25.0, 0.985 * cutoff_km_per_h(bike)), 0.97 * cutoff_km_per_h(bike))
        speed = speeds[seed % len(speeds)]
        start_s = rest(bike)
        lines: Lines = [{"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": speed}]
        for turn in range(2):
            at_s = start_s + 14.0 * turn
            lines.append({"at_s": at_s, "cadence_rpm": draw.uniform(35.0, 105.0)})
            lines.append({"at_s": at_s + 8.0 + draw.random(), "cadence_rpm": 0})
        return start_s + 28.0, lines


class FadingLegs(Scenario):
    """The legs slow down before they stop."""

    name = "fading legs"
    sentence = "pedalling on the roller, the cadence fades to nothing"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Pedal, then let the cadence fall to 0 within 1 to 6 s."""
        start_s = rest(bike)
        fade_s = draw.uniform(1.0, 6.0)
        speed = draw.uniform(6.0, 0.97 * cutoff_km_per_h(bike))
        return start_s + 16.0 + fade_s, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": speed},
            {"at_s": start_s, "cadence_rpm": draw.uniform(40.0, 100.0)},
            {"at_s": start_s + 8.0, "over_s": fade_s, "cadence_rpm": 0},
        ]


class Backward(Scenario):
    """Forward to backward without a rest, backward from rest, and forward again."""

    name = "backward"
    sentence = "pedalling backward from rest, forward, and straight into backward"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Backward, forward, backward, forward, stop."""
        start_s = rest(bike)
        speed = draw.uniform(0.0, 0.97 * cutoff_km_per_h(bike))
        return start_s + 30.0, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": speed},
            {"at_s": start_s, "cadence_rpm": -draw.uniform(15.0, 90.0)},
            {"at_s": start_s + 6.0, "cadence_rpm": draw.uniform(40.0, 100.0)},
            {"at_s": start_s + 14.0 + draw.random(), "cadence_rpm": -draw.uniform(15.0, 90.0)},
            {"at_s": start_s + 20.0, "cadence_rpm": draw.uniform(40.0, 100.0)},
            {"at_s": start_s + 26.0, "cadence_rpm": 0},
        ]


class SpeedSweep(Scenario):
    """Once through all speeds, up to 1.25 times the cut-off and back."""

    name = "speed sweep"
    sentence = "pedalling on the roller through all speeds up to 1.25 times the cut-off"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Up within 60 s, 5 s at the top, down within 30 s."""
        start_s = rest(bike)
        top = 1.25 * cutoff_km_per_h(bike)
        return start_s + 104.0, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 3},
            {"at_s": start_s, "cadence_rpm": draw.uniform(55.0, 95.0)},
            {"at_s": start_s + 4.0, "over_s": 60.0, "roller_km_per_h": top},
            {"at_s": start_s + 69.0, "over_s": 30.0, "roller_km_per_h": 3},
        ]


class SlowAtSpeed(Scenario):
    """Slow legs on a fast bicycle: a tall gear, or a tired rider."""

    name = "slow legs at speed"
    sentence = "pedalling slowly while the roller goes through all speeds up to the cut-off"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """From a third above the engage cadence up to 55 rpm, to the end of the taper within 25 s."""
        start_s = rest(bike)
        slow = bike.firmware_settings.engage_rpm * 1.33
        return start_s + 30.0, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 4},
            {"at_s": start_s, "cadence_rpm": draw.uniform(slow, max(slow, 55.0))},
            {"at_s": start_s + 4.0, "over_s": 25.0, "roller_km_per_h": 0.99 * cutoff_km_per_h(bike)},
        ]


class SteadyCadence(Scenario):
    """A cadence at, just under and just over each threshold."""

    name = "steady cadence"
    sentence = "steady pedalling at, just under and just over a threshold"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Every second ride comes down from a brisk cadence, the others come from rest."""
        settings = bike.firmware_settings
        threshold = settings.engage_rpm if seed % 2 else settings.release_rpm
        cadence = threshold + (-1.0, 0.0, 1.0)[seed // 2 % 3] + draw.uniform(-0.3, 0.3)
        start_s = rest(bike)
        lines: Lines = [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(6.0, 14.0)}
        ]
        if seed // 6 % 2:
            lines.append({"at_s": start_s, "cadence_rpm": 60.0})
            start_s += 4.0
        lines.append({"at_s": start_s, "cadence_rpm": cadence})
        return start_s + 30.0, lines


class SteadySpeed(Scenario):
    """The road decides the speed: it settles where help fades."""

    name = "steady speed"
    sentence = "steady riding where the speed settles in the taper"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """An even effort on an even road for 80 s."""
        start_s = rest(bike)
        return start_s + 80.0, [
            {"at_s": 0, "cadence_rpm": 0, "grade_percent": draw.uniform(-1.0, 1.5)},
            {"at_s": start_s, "cadence_rpm": draw.uniform(60.0, 85.0), "effort_w": draw.uniform(40.0, 200.0)},
        ]


class TurningAtPowerUp(Scenario):
    """The crank turns or the throttle is open when the supply comes; later both rest, and act again."""

    name = "turning at power-up"
    sentence = "switched on while the crank turns or the throttle is open, then at rest, then pedalled"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Switched on at 2 s; at rest from 10 s; pedalled from 10 s and the rest on."""
        cadence = draw.uniform(25.0, 90.0) if seed % 3 != 1 else 0.0
        throttle = 100.0 if seed % 3 != 0 else 0.0
        begin: dict[str, object] = {"at_s": 0, "power_switch": False, "crank_free": True}
        return 16.0 + rest(bike), [
            begin
            | {
                "cadence_rpm": cadence,
                "throttle_percent": throttle,
                "roller_km_per_h": draw.uniform(0.0, 15.0),
            },
            {"at_s": 2, "power_switch": True},
            {"at_s": 10, "cadence_rpm": 0, "throttle_percent": 0},
            {"at_s": 10 + rest(bike), "cadence_rpm": 60.0},
        ]


class FirstEdges(Scenario):
    """Pedalling from rest, again and again."""

    name = "first edges"
    sentence = "pedalling from rest at several cadences"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Three starts."""
        low = bike.firmware_settings.engage_rpm * 1.3
        lines: Lines = [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(4.0, 15.0)}
        ]
        at_s = rest(bike)
        for _ in range(3):
            lines.append({"at_s": at_s, "cadence_rpm": draw.uniform(low, 95.0)})
            lines.append({"at_s": at_s + 3.0, "cadence_rpm": 0})
            at_s += 3.0 + rest(bike) + draw.random()
        return at_s, lines


class SlowStart(Scenario):
    """The bicycle gathers speed while the legs are at it already."""

    name = "slow start"
    sentence = "pedalling on the roller while the speed grows from nothing"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """From 0 to 10 km/h within 10 to 20 s."""
        start_s = rest(bike)
        grow_s = draw.uniform(10.0, 20.0)
        return start_s + 3.0 + grow_s, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 0},
            {"at_s": start_s, "cadence_rpm": draw.uniform(40.0, 90.0)},
            {"at_s": start_s + 2.0, "over_s": grow_s, "roller_km_per_h": 10},
        ]


class Nudges(Scenario):
    """Short pushes that are not meant as pedalling."""

    name = "nudges"
    sentence = "short pushes of the pedal by up to a sixth of a turn, standing"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Four nudges."""
        lines: Lines = [{"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 0}]
        at_s = rest(bike)
        for _ in range(4):
            cadence = draw.uniform(15.0, 60.0)
            lines.append({"at_s": at_s, "cadence_rpm": cadence})
            lines.append({"at_s": at_s + draw.uniform(0.05, 0.16) * 60.0 / cadence, "cadence_rpm": 0})
            at_s += 3.0 + rest(bike) + draw.random()
        return at_s, lines


class Rocking(Scenario):
    """To and fro by less than half a pitch."""

    name = "rocking"
    sentence = "the crank rocking to and fro by up to half a pitch, standing"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """From a random place in the pitch, for 15 s."""
        pitch_turns = 1.0 / bike.pedal_sensor.pulses_per_rev
        half_s = draw.uniform(0.2, 0.7)
        # The legs take a while to turn round, so the way is shorter than cadence times time: never longer.
        cadence = draw.uniform(0.1, 0.5) * pitch_turns * 60.0 / half_s
        begin_s = rest(bike)
        lines: Lines = [
            {"at_s": 0, "cadence_rpm": -20.0, "crank_free": True, "roller_km_per_h": 0},
            {"at_s": draw.uniform(0.1, 1.0), "cadence_rpm": 0},
        ]
        at_s = begin_s + 1.0
        while at_s < begin_s + 16.0:
            cadence = -cadence
            lines.append({"at_s": round(at_s, 6), "cadence_rpm": cadence})
            at_s += half_s
        return at_s, lines


class RockingOn(Scenario):
    """From pedalling into rocking by up to half a pitch."""

    name = "rocking on"
    sentence = "pedalling on the roller, then the crank only rocks to and fro by up to half a pitch"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Pedal for 6 s, rock for 6 s."""
        pitch_turns = 1.0 / bike.pedal_sensor.pulses_per_rev
        start_s = rest(bike)
        lines: Lines = [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(6.0, 18.0)},
            {"at_s": start_s, "cadence_rpm": draw.uniform(35.0, 70.0)},
        ]
        half_s = draw.uniform(0.12, 0.3)
        cadence = draw.uniform(0.3, 0.5) * pitch_turns * 60.0 / half_s
        at_s = start_s + 6.0 + draw.random()
        end_s = at_s + 6.0
        while at_s < end_s:
            cadence = -cadence
            lines.append({"at_s": round(at_s, 6), "cadence_rpm": cadence})
            at_s += half_s
        return end_s + 1.0, lines


class ThrottleFromRest(Scenario):
    """The throttle alone, a minute long."""

    name = "throttle from rest"
    sentence = "the throttle held open for a minute without pedalling, on the level"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Open after the rest, closed a minute later."""
        if not bike.throttle.fitted:
            return None
        start_s = rest(bike)
        return start_s + 66.0, [
            {"at_s": 0, "cadence_rpm": 0, "grade_percent": draw.uniform(0.0, 1.0)},
            {
                "at_s": start_s,
                "over_s": draw.uniform(0.0, 1.0),
                "throttle_percent": draw.uniform(60.0, 100.0),
            },
            {"at_s": start_s + 60.5, "throttle_percent": 0},
        ]


class BrakePull(Scenario):
    """The brake is pulled while the legs go on."""

    name = "brake pull"
    sentence = "the brake pulled while the legs go on turning"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Two pulls of the brake."""
        if bike.brakes.switches == "none":
            return None
        start_s = rest(bike)
        lines: Lines = [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(5.0, 20.0)},
            {"at_s": start_s, "cadence_rpm": draw.uniform(40.0, 100.0)},
        ]
        for turn in range(2):
            pull_s = start_s + 6.0 + 10.0 * turn + draw.random()
            lines.append({"at_s": pull_s, "brake": True})
            lines.append({"at_s": pull_s + 3.0, "brake": False})
        return start_s + 26.0, lines


class SelectorPositions(Scenario):
    """Each position of the selector, or nine places of a potentiometer."""

    name = "selector positions"
    sentence = "each selector position for a while, steady pedalling on the roller"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Six seconds at each, in a random order."""
        if bike.selector.kind == "none":
            return None
        start_s = rest(bike)
        speed = draw.uniform(6.0, 0.8 * cutoff_km_per_h(bike))
        lines: Lines = [{"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": speed}]
        lines.append({"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 90.0)})
        if bike.selector.kind == "positions":
            places: Lines = [
                {"selector_position": number} for number in range(1, (bike.selector.positions or 2) + 1)
            ]
        else:
            places = [{"selector_percent": 12.5 * number} for number in range(9)]
        draw.shuffle(places)
        for index, place in enumerate(places):
            lines.append({"at_s": start_s + 1.0 + 6.0 * index} | place)
        return start_s + 1.0 + 6.0 * len(places), lines


class PowerSteps(Scenario):
    """From nothing to full power at an even speed."""

    name = "power steps"
    sentence = "from rest to full power at an even speed on the roller"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Fifteen seconds of pedalling."""
        start_s = rest(bike)
        taper_km_per_h = bike.firmware_settings.taper_start_mm_per_s * KM_PER_H
        return start_s + 15.0, [
            {
                "at_s": 0,
                "cadence_rpm": 0,
                "crank_free": True,
                # Slower than 10 km/h many motors can't take their power: there the current limit rules.
                "roller_km_per_h": draw.uniform(10.0, 0.95 * taper_km_per_h),
            },
            {"at_s": start_s, "cadence_rpm": draw.uniform(55.0, 90.0)},
        ]


class HillyRide(Scenario):
    """A ride as it comes."""

    name = "hilly ride"
    sentence = "a ride over hills with stops, brakes and the throttle"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """About a minute of anything."""
        lines: Lines = [{"at_s": 0, "cadence_rpm": 0}]
        at_s = rest(bike)
        while at_s < 60.0:
            line: dict[str, object] = {
                "at_s": at_s,
                "cadence_rpm": draw.choice((0.0, -30.0, 50.0, 65.0, 80.0, 95.0)),
            }
            line["effort_w"] = draw.uniform(20.0, 250.0)
            line["grade_percent"] = draw.uniform(-3.0, 7.0)
            line["brake"] = draw.random() < 0.15
            line["throttle_percent"] = draw.choice((0.0, 0.0, 0.0, 40.0, 100.0))
            line["selector_percent"] = draw.choice((0.0, 50.0, 100.0, 100.0, 100.0))
            lines.append(line)
            at_s += draw.uniform(2.0, 9.0)
        return at_s, lines


class BatteryRunsLow(Scenario):
    """From a third of the charge to nothing."""

    name = "battery runs low"
    sentence = "the battery from a third of its charge to empty under full power"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """A lower charge every 4 s."""
        start_s = rest(bike)
        speed = draw.uniform(10.0, 16.0)
        lines: Lines = [{"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": speed}]
        lines.append({"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 90.0)})
        for index, charge in enumerate((30, 20, 14, 10, 7, 4, 2, 0)):
            lines.append({"at_s": start_s + 4.0 + 4.0 * index, "charge_percent": charge})
        return start_s + 36.0, lines


class MotorGetsHot(Scenario):
    """From warm to beyond the heat limit."""

    name = "motor gets hot"
    sentence = "the motor from warm to beyond its heat limit under full power"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Hotter every 4 s."""
        settings = bike.firmware_settings
        if settings.heat_sensor_fitted == 0:
            return None
        start_s = rest(bike)
        low = settings.heat_foldback_decicelsius / 10.0
        span = settings.heat_limit_decicelsius / 10.0 - low
        lines: Lines = [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(10.0, 16.0)}
        ]
        lines.append({"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 90.0)})
        for index, share in enumerate((-0.2, 0.1, 0.35, 0.6, 0.85, 1.05)):
            lines.append({"at_s": start_s + 4.0 + 4.0 * index, "motor_celsius": low + share * span})
        return start_s + 28.0, lines


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
        begin = {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": speed}
        drive = {"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 95.0)}
        fault_s = start_s + 6.0 + draw.random()
        rest_s = fault_s + 15.0
        return rest_s + rest(bike) + 4.0, [
            begin,
            drive,
            {"at_s": fault_s, "fault": [fault]},
            {"at_s": fault_s + 12.0, "fault": []},
            {"at_s": rest_s, "cadence_rpm": 0},
            {"at_s": rest_s + rest(bike), "cadence_rpm": 60.0},
        ]


class ThrottleStuck(Scenario):
    """The throttle sticks open; only the brake, and the speed where the place has one, end it."""

    name = "throttle stuck"
    sentence = "the throttle sticks open while it drives, then the brake is pulled"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Open, stuck, closed by the hand in vain, braked."""
        if not bike.throttle.fitted or bike.brakes.switches == "none":
            return None
        start_s = rest(bike)
        stuck_s = start_s + 2.0 + draw.random()
        return stuck_s + 8.0, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(0.0, 4.0)},
            {"at_s": start_s, "throttle_percent": draw.uniform(50.0, 100.0)},
            {"at_s": stuck_s, "fault": [{"name": "throttle stuck"}]},
            {"at_s": stuck_s + 4.0, "brake": True},
        ]


class ShuntStuck(Scenario):
    """The shunt's reading stands still while the motor drives."""

    name = "shunt stuck"
    sentence = "the shunt's reading stands still while the motor drives, then the legs stop"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Stuck for 8 s, the legs stop after 4 s of them."""
        if not bike.shunt.fitted:
            return None
        start_s = rest(bike)
        stuck_s = start_s + draw.uniform(1.0, 6.0)
        return stuck_s + 9.0, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(6.0, 18.0)},
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
            edges_per_turn = (
                4 if bike.pedal_sensor.kind == "two channels" else 2
            ) * bike.pedal_sensor.pulses_per_rev
            burst_for_s = 100.0 * 60.0 / (edges_per_turn * cadence)
            faults = [{"name": "loop stalls", "stall_ms": round(burst_for_s * 1000.0)}]
        return burst_s + burst_for_s + 8.0, [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(6.0, 18.0)},
            {"at_s": start_s, "cadence_rpm": cadence},
            {"at_s": burst_s, "fault": faults},
            {"at_s": burst_s + burst_for_s, "fault": []},
        ]


class BrownOut(Scenario):
    """The supply is lost for a moment while riding."""

    name = "brown-out"
    sentence = "the supply lost for a moment while the crank turns"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Lost for 0.05 to 2 s; the crank turns on for 6 s, rests, turns again."""
        start_s = rest(bike)
        lost_s = start_s + 6.0 + draw.random()
        back_s = lost_s + draw.uniform(0.05, 2.0)
        return back_s + 12.0 + rest(bike), [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(5.0, 20.0)},
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
        lines: Lines = [{"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 0}]
        for index, rate in enumerate((1.0, 5.0, 20.0, 100.0, 1000.0)):
            fault = {"name": "noise", "per_s": rate * draw.uniform(0.5, 1.0)}
            lines.append({"at_s": start_s + 4.0 * index, "fault": [fault]})
        return start_s + 22.0, lines


def channel_faults(name: str) -> tuple[dict[str, object], ...]:
    """Return a fault of the pedal sensor for each channel."""
    return tuple({"name": name, "channel": channel} for channel in "AB")


SUDDEN_STOP = SuddenStop()
FADING_LEGS = FadingLegs()
BACKWARD = Backward()
SPEED_SWEEP = SpeedSweep()
SLOW_AT_SPEED = SlowAtSpeed()
STEADY_CADENCE = SteadyCadence()
STEADY_SPEED = SteadySpeed()
TURNING_AT_POWER_UP = TurningAtPowerUp()
FIRST_EDGES = FirstEdges()
SLOW_START = SlowStart()
NUDGES = Nudges()
ROCKING = Rocking()
ROCKING_ON = RockingOn()
THROTTLE_FROM_REST = ThrottleFromRest()
BRAKE_PULL = BrakePull()
SELECTOR_TOUR = SelectorPositions()
POWER_STEPS = PowerSteps()
HILLY_RIDE = HillyRide()
BATTERY_RUNS_LOW = BatteryRunsLow()
MOTOR_GETS_HOT = MotorGetsHot()
BROWN_OUT = BrownOut()
NOISE_AT_REST = NoiseAtRest()
LEVER_FAULTS = FaultWhileDriving(
    "lever faults",
    "a lever wire breaks or touches its supply while the motor drives",
    (
        {"name": "throttle wire open"},
        {"name": "throttle wire shorted"},
        {"name": "selector wire open"},
        {"name": "selector wire shorted"},
    ),
)
THROTTLE_STUCK = ThrottleStuck()
WHEEL_LOST = FaultWhileDriving(
    "wheel sensor lost", "the wheel sensor is lost", ({"name": "wheel sensor lost"},)
)
SHUNT_DEAD = FaultWhileDriving("shunt dead", "the shunt reads nothing", ({"name": "shunt reading dead"},))
SHUNT_STUCK = ShuntStuck()
OVERRUN = Overrun()
STALLS = FaultWhileDriving(
    "loop stalls",
    "the loop stalls for 200 ms, for 20 ms and for good",
    tuple({"name": "loop stalls", "stall_ms": stall_ms} for stall_ms in (200, 20, 60_000)),
)
NOISE = FaultWhileDriving(
    "noise while riding",
    "noise bursts on the pedal sensor while riding",
    tuple({"name": "noise", "per_s": rate} for rate in (2.0, 20.0, 200.0, 2000.0)),
)
SENSOR_FAULTS = FaultWhileDriving(
    "pedal sensor faults",
    "the pedal sensor loses a channel or a magnet, or its wires are swapped",
    (
        *channel_faults("channel dead"),
        *channel_faults("channel stuck low"),
        *channel_faults("channel stuck high"),
        {"name": "channels swapped"},
        {"name": "magnet missing", "magnet": 3},
        {"name": "magnet weak", "magnet": 2, "strength": 0.3},
        {"name": "bounce"},
    ),
)
FAULTY = (
    LEVER_FAULTS,
    THROTTLE_STUCK,
    WHEEL_LOST,
    SHUNT_DEAD,
    SHUNT_STUCK,
    OVERRUN,
    STALLS,
    NOISE,
    SENSOR_FAULTS,
)
HEALTHY = (
    SUDDEN_STOP,
    FADING_LEGS,
    BACKWARD,
    SPEED_SWEEP,
    SLOW_AT_SPEED,
    STEADY_CADENCE,
    TURNING_AT_POWER_UP,
    FIRST_EDGES,
    SLOW_START,
    NUDGES,
    BRAKE_PULL,
    SELECTOR_TOUR,
    POWER_STEPS,
    HILLY_RIDE,
    BATTERY_RUNS_LOW,
    MOTOR_GETS_HOT,
    THROTTLE_FROM_REST,
    BROWN_OUT,
)
EVERY = (*HEALTHY, STEADY_SPEED, ROCKING, ROCKING_ON, NOISE_AT_REST, *FAULTY)
