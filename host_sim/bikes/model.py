"""The format of a bike file: each section a table, each key with its unit and its allowed range.

Numbers are SI except where workshops use other units (degrees, percent, Ah); the unit is in the key. `fit`
checks keys against each other.
"""

from math import pi, sin
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from firmware.settings import Settings
from host_sim.places.limits import Place
from host_sim.tomlfile import Table, within


class Bicycle(Table):
    """Mechanics: masses, air, tyres, gears, brakes."""

    own_mass_kg: float = within(5, 150)
    rider_kg: float = within(20, 300)
    load_kg: float = within(0, 300)
    drag_area_m2: float = within(0.1, 3)
    rolling_coefficient: float = within(0.001, 0.1)
    wheel_circumference_m: float = within(0.5, 3)
    wheel_inertia_kg_m2: float = within(0, 2)
    chain_efficiency: float = within(0.5, 1)
    development_low_m: float = within(0.5, 12)
    development_high_m: float = within(0.5, 12)
    brake_deceleration_m_per_s2: float = within(0.5, 8)

    @property
    def mass_kg(self) -> float:
        """Bicycle, rider and load together."""
        return self.own_mass_kg + self.rider_kg + self.load_kg


class RiderTable(Table):
    """Legs: maximum mean torque over a turn, its share at the dead centre, and unevenness.

    `strength_nm` is that of all `riders` together.
    """

    riders: int = Field(default=1, ge=1, le=4)
    strength_nm: float = within(5, 300)
    dead_centre_share: float = within(0, 1)
    cadence_ripple: float = within(0, 0.5)


class MotorTable(Table):
    """A hub motor as a DC machine; constants at the wheel axle, gears inside the hub included."""

    rated_power_w: float = within(50, 1500)
    torque_constant_nm_per_a: float = within(0.1, 10)
    resistance_ohm: float = within(0.01, 5)
    no_load_current_a: float = within(0, 5)
    current_limit_a: float = within(1, 200)
    thermal_resistance_k_per_w: float = within(0.05, 20)
    thermal_capacity_j_per_k: float = within(10, 50_000)
    has_temperature_sensor: bool


class MotorController(Table):
    """The power stage: the command voltage from which it drives, and what the voltage controls."""

    kind: Literal["torque", "speed"]
    start_v: float = within(0, 3)
    full_v: float = within(0.5, 5)
    lag_s: float = within(0.001, 0.1)
    battery_current_limit_a: float = within(1, 100)


class Battery(Table):
    """A battery whose voltage without load falls linearly from full to empty."""

    full_v: float = within(10, 95)
    empty_v: float = within(10, 75)
    capacity_ah: float = within(0.5, 200)
    resistance_ohm: float = within(0.001, 2)
    charge: float = within(0, 1)


class PedalSensor(Table):
    """The magnet ring and its pickup, with the flaws of this part.

    `channel` is the board's input for the only wire of a one-channel or duty-coded sensor.
    """

    kind: Literal["two channels", "one channel", "duty-coded"]
    pulses_per_rev: int = Field(ge=4, le=64)
    side: Literal["right", "left"]
    leads_on_the_right: Literal["A", "B"] = "A"
    channel: Literal["A", "B"] = "A"
    duty_percent: float = within(10, 90, default=50)
    phase_deg: float = within(20, 160, default=90)
    angle_errors_deg: list[Annotated[float, within(-45, 45)]] = Field(default=[], max_length=64)
    uneven_deg: float = within(0, 20, default=0)
    hysteresis_deg: float = within(0, 10, default=0.5)

    @property
    def a_leads(self) -> bool:
        """Whether channel A changes first when turning forward; on the left it is the other one."""
        return (self.leads_on_the_right == "A") == (self.side == "right")

    @property
    def edges_per_turn(self) -> int:
        """How many edges one turn of the crank gives, those of all channels together."""
        return self.pulses_per_rev * (4 if self.kind == "two channels" else 2)

    def magnet_errors_deg(self) -> list[float]:
        """Return the error of each magnet's place, in degrees of the crank.

        Without a list, `uneven_deg` describes a ring that is off centre with magnets glued by hand: three
        quarters of the error are a sine once per turn, the rest alternates in sign.
        """
        if self.angle_errors_deg or self.uneven_deg == 0.0:
            return list(self.angle_errors_deg)
        turn = [2.0 * pi * magnet / self.pulses_per_rev for magnet in range(self.pulses_per_rev)]
        sides = [0.25 if magnet % 2 else -0.25 for magnet in range(self.pulses_per_rev)]
        return [self.uneven_deg * (0.75 * sin(angle) + side) for angle, side in zip(turn, sides, strict=True)]


class WheelSensor(Table):
    """Magnets on the wheel."""

    pulses_per_rev: int = Field(ge=1, le=64)


class Throttle(Table):
    """A throttle, or none; its voltage at rest and fully open."""

    fitted: bool
    rest_v: float = within(0.2, 3.9, default=0.85)
    full_v: float = within(0.7, 4.4, default=3.6)


class Selector(Table):
    """The auxiliary switch or potentiometer that scales assist power, or none."""

    kind: Literal["none", "potentiometer", "positions"]
    positions: int | None = Field(default=None, ge=2, le=6)
    shares_percent: list[Annotated[float, within(0, 100)]] = Field(default=[], max_length=6)
    low_v: float = within(0.3, 4, default=0.5)
    high_v: float = within(0.8, 4.6, default=4.5)


class Brakes(Table):
    """Which brake levers have a switch."""

    switches: Literal["all", "some", "none"]


class Shunt(Table):
    """The measurement of battery current, or none."""

    fitted: bool
    noise_a: float = within(0, 2, default=0.05)
    step_a: float = within(0, 2, default=0.03)


class Bike(Table):
    """One bicycle: its parts, its place, and settings that override those derived from it."""

    title: str = Field(min_length=1, max_length=100)
    place: str = Field(min_length=1, max_length=60)
    bicycle: Bicycle
    rider: RiderTable
    motor: MotorTable
    motor_controller: MotorController
    battery: Battery
    pedal_sensor: PedalSensor
    wheel_sensor: WheelSensor
    throttle: Throttle
    selector: Selector
    brakes: Brakes
    shunt: Shunt
    settings: dict[str, int] = Field(default={})

    _name: str = PrivateAttr(default="")
    _place: Place | None = PrivateAttr(default=None)
    _firmware_settings: Settings | None = PrivateAttr(default=None)

    def complete(self, name: str, place: Place, firmware_settings: Settings) -> None:
        """Store, in addition to the file's content, what `load_bike` derived from it."""
        self._name = name
        self._place = place
        self._firmware_settings = firmware_settings

    @property
    def name(self) -> str:
        """The file name without its suffix."""
        return self._name

    @property
    def place_profile(self) -> Place:
        """The limits of the place; ValueError before `complete`."""
        if self._place is None:
            raise ValueError("place_profile is known only after load_bike")
        return self._place

    @property
    def firmware_settings(self) -> Settings:
        """The settings for this bicycle's firmware; ValueError before `complete`."""
        if self._firmware_settings is None:
            raise ValueError("firmware_settings are known only after load_bike")
        return self._firmware_settings
