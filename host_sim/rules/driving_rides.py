"""Scenarios of the drive: throttle, brake, selector, power, hills, battery, heat."""

from random import Random

from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines, Scenario
from host_sim.rules.riding import cutoff_km_per_h, on_roller, rest, taper_km_per_h


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
            on_roller(draw.uniform(5.0, 20.0)),
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
        lines: Lines = [on_roller(speed), {"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 90.0)}]
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
        return start_s + 15.0, [
            # Slower than 10 km/h many motors can't take their power: there the current limit rules.
            on_roller(draw.uniform(10.0, 0.95 * taper_km_per_h(bike))),
            {"at_s": start_s, "cadence_rpm": draw.uniform(55.0, 90.0)},
        ]


class HelpResumed(Scenario):
    """Help again and again at an even speed: after a rest, after coasting, after a brake."""

    name = "help resumed"
    sentence = "pedalling again at an even speed: after a rest, after coasting, after braking"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """Three times 4 s of pedalling on the roller, the last one after it has slowed down."""
        start_s = rest(bike)
        speed = draw.uniform(10.0, min(24.0, 0.95 * taper_km_per_h(bike)))
        faster = min(speed + draw.uniform(2.0, 6.0), cutoff_km_per_h(bike))
        cadence = draw.uniform(60.0, 90.0)
        coast_s = start_s + 5.0 + draw.uniform(1.0, 4.0)
        slow_s = coast_s + 6.0
        brakes = bike.brakes.switches != "none"
        return slow_s + 8.0, [
            on_roller(speed),
            {"at_s": start_s, "cadence_rpm": cadence},
            {"at_s": start_s + 5.0, "cadence_rpm": 0},
            {"at_s": coast_s, "cadence_rpm": cadence},
            {"at_s": coast_s + 4.0, "cadence_rpm": 0, "over_s": 1.0, "roller_km_per_h": faster},
            {"at_s": slow_s, "over_s": 1.5, "roller_km_per_h": speed, "brake": brakes},
            {"at_s": slow_s + 1.6, "brake": False, "cadence_rpm": cadence},
        ]


class SlopeBegins(Scenario):
    """A slope slows the bicycle down under full power."""

    name = "slope begins"
    sentence = "a slope that begins under full power, or a roller that slows down as fast"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """On the road 5 to 10 % after half a minute on the level; on the roller 12 km/h less in 2 to 3 s."""
        start_s = rest(bike)
        pedal = {"cadence_rpm": draw.uniform(60.0, 85.0)}
        if seed % 2:
            speed = draw.uniform(0.8, 0.95) * taper_km_per_h(bike)
            slower = {"over_s": draw.uniform(2.0, 3.0), "roller_km_per_h": max(speed - 12.0, 4.0)}
            return start_s + 14.0, [
                on_roller(speed),
                {"at_s": start_s} | pedal,
                {"at_s": start_s + 6.0} | slower,
            ]
        return start_s + 45.0, [
            {"at_s": 0, "cadence_rpm": 0},
            {"at_s": start_s, "effort_w": draw.uniform(100.0, 250.0)} | pedal,
            {"at_s": start_s + 30.0, "grade_percent": draw.uniform(5.0, 10.0)},
        ]


class HillyRide(Scenario):
    """Hills, stops, brakes and the throttle in random order."""

    name = "hilly ride"
    sentence = "a ride over hills with stops, brakes and the throttle"

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines]:
        """New random values every 2 to 9 s, for about a minute."""
        lines: Lines = [{"at_s": 0, "cadence_rpm": 0}]
        at_s = rest(bike)
        while at_s < 60.0:
            lines.append(
                {
                    "at_s": at_s,
                    "cadence_rpm": draw.choice((0.0, -30.0, 50.0, 65.0, 80.0, 95.0)),
                    "effort_w": draw.uniform(20.0, 250.0),
                    "grade_percent": draw.uniform(-3.0, 7.0),
                    "brake": draw.random() < 0.15,
                    "throttle_percent": draw.choice((0.0, 0.0, 0.0, 40.0, 100.0)),
                    "selector_percent": draw.choice((0.0, 50.0, 100.0, 100.0, 100.0)),
                }
            )
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
        lines: Lines = [on_roller(speed), {"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 90.0)}]
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
        speed = draw.uniform(10.0, 16.0)
        lines: Lines = [on_roller(speed), {"at_s": start_s, "cadence_rpm": draw.uniform(50.0, 90.0)}]
        for index, share in enumerate((-0.2, 0.1, 0.35, 0.6, 0.85, 1.05)):
            lines.append({"at_s": start_s + 4.0 + 4.0 * index, "motor_celsius": low + share * span})
        return start_s + 28.0, lines
