"""Scenarios of the legs: starts, stops, backward, thresholds, nudges, rocking."""

from random import Random

from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines, Scenario
from host_sim.rules.riding import cutoff_km_per_h, on_roller, rest


class SuddenStop(Scenario):
    """Speeds 10, 20 and 25 km/h and just under the cut-off, in turn."""

    name = "sudden stop"
    sentence = "pedalling on the roller, then the legs stop at once"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Pedal for 8 s at one speed, stop, twice."""
        speeds = (10.0, 20.0, min(25.0, 0.985 * cutoff_km_per_h(bike)), 0.97 * cutoff_km_per_h(bike))
        speed = speeds[seed % len(speeds)]
        start_s = rest(bike)
        lines: Lines = [on_roller(speed)]
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
            on_roller(speed),
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
            on_roller(speed),
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
            on_roller(3),
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
            on_roller(4),
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
        lines: Lines = [on_roller(draw.uniform(6.0, 14.0))]
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
    """The crank turns or the throttle is open at power-up; later both rest, then the rider pedals."""

    name = "turning at power-up"
    sentence = "switched on while the crank turns or the throttle is open, then at rest, then pedalled"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Switched on at 2 s, at rest from 10 s, pedalled after the rest."""
        cadence = draw.uniform(25.0, 90.0) if seed % 3 != 1 else 0.0
        throttle = 100.0 if seed % 3 != 0 else 0.0
        begin = on_roller(draw.uniform(0.0, 15.0))
        return 16.0 + rest(bike), [
            begin | {"power_switch": False, "cadence_rpm": cadence, "throttle_percent": throttle},
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
        lines: Lines = [on_roller(draw.uniform(4.0, 15.0))]
        at_s = rest(bike)
        for _ in range(3):
            lines.append({"at_s": at_s, "cadence_rpm": draw.uniform(low, 95.0)})
            lines.append({"at_s": at_s + 3.0, "cadence_rpm": 0})
            at_s += 3.0 + rest(bike) + draw.random()
        return at_s, lines


class SlowStart(Scenario):
    """The bicycle gains speed while the rider is already pedalling."""

    name = "slow start"
    sentence = "pedalling on the roller while the speed grows from nothing"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """From 0 to 10 km/h within 10 to 20 s."""
        start_s = rest(bike)
        grow_s = draw.uniform(10.0, 20.0)
        return start_s + 3.0 + grow_s, [
            on_roller(0),
            {"at_s": start_s, "cadence_rpm": draw.uniform(40.0, 90.0)},
            {"at_s": start_s + 2.0, "over_s": grow_s, "roller_km_per_h": 10},
        ]


class Nudges(Scenario):
    """Short pushes that are not meant as pedalling."""

    name = "nudges"
    sentence = "short pushes of the pedal by up to a sixth of a turn, standing"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Four nudges."""
        lines: Lines = [on_roller(0)]
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
        rocking, end_s = _to_and_fro(begin_s + 1.0, begin_s + 16.0, half_s, cadence)
        return end_s, lines + rocking


class RockingOn(Scenario):
    """From pedalling into rocking by up to half a pitch."""

    name = "rocking on"
    sentence = "pedalling on the roller, then the crank only rocks to and fro by up to half a pitch"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Pedal for 6 s, rock for 6 s."""
        pitch_turns = 1.0 / bike.pedal_sensor.pulses_per_rev
        start_s = rest(bike)
        lines: Lines = [
            on_roller(draw.uniform(6.0, 18.0)),
            {"at_s": start_s, "cadence_rpm": draw.uniform(35.0, 70.0)},
        ]
        half_s = draw.uniform(0.12, 0.3)
        cadence = draw.uniform(0.3, 0.5) * pitch_turns * 60.0 / half_s
        at_s = start_s + 6.0 + draw.random()
        rocking, _ = _to_and_fro(at_s, at_s + 6.0, half_s, cadence)
        return at_s + 6.0 + 1.0, lines + rocking


def _to_and_fro(at_s: float, until_s: float, half_s: float, cadence_rpm: float) -> tuple[Lines, float]:
    """Return stretches of rocking, backward first, the last begun before `until_s`, and that one's end."""
    lines: Lines = []
    while at_s < until_s:
        cadence_rpm = -cadence_rpm
        lines.append({"at_s": round(at_s, 6), "cadence_rpm": cadence_rpm})
        at_s += half_s
    return lines, at_s
