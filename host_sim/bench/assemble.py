"""Builds the bicycle of a bike file on the bench."""

from collections.abc import Callable

from firmware.controller import Controller
from firmware.settings import Settings
from host_sim.bench.ride import Bench, ticks_at_start_us
from host_sim.bench.sim_board import Levers
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.plant.battery import Battery
from host_sim.plant.bicycle import Bicycle
from host_sim.plant.motor import Motor
from host_sim.plant.pedal_sensor import PedalSensor
from host_sim.plant.rider import Rider
from host_sim.plant.wheel_sensor import WheelSensor

AMBIENT_CELSIUS = 20.0
SENSOR_KINDS = {"two channels": "two_channel", "one channel": "one_channel", "duty-coded": "duty_coded"}
NO_SHUNT_STEP_A = 0.03  # Only defines the reading of a shunt that is not fitted.


def bench_for(
    bike: Bike,
    seed: int,
    clock_at_start_us: int | None = None,
    settings_after: Settings | None = None,
    build: Callable[[Settings, int], Controller] | None = None,
    crank_rad: float = 0.0,
) -> Bench:
    """Return the bicycle of a bike file on a bench, at a standstill; `seed` is the random seed.

    `clock_at_start_us` is the microcontroller's clock at the start; None draws it from the seed.
    `settings_after` apply after the first loss of supply. `build` makes the controller from settings
    and the time; None makes the firmware's own. The crank starts at `crank_rad`.
    """
    if clock_at_start_us is None:
        clock_at_start_us = ticks_at_start_us(seed)
    world = World(
        bicycle=bicycle_of(bike),
        rider=Rider(
            strength_nm=bike.rider.strength_nm,
            dead_centre_share=bike.rider.dead_centre_share,
            cadence_ripple=bike.rider.cadence_ripple,
            development_low_m=bike.bicycle.development_low_m,
            development_high_m=bike.bicycle.development_high_m,
            chain_efficiency=bike.bicycle.chain_efficiency,
        ),
        motor=_motor(bike),
        battery=Battery(
            full_v=bike.battery.full_v,
            empty_v=bike.battery.empty_v,
            capacity_ah=bike.battery.capacity_ah,
            resistance_ohm=bike.battery.resistance_ohm,
            charge=bike.battery.charge,
        ),
        pedal_sensor=_pedal_sensor(bike, crank_rad),
        wheel_sensor=WheelSensor(bike.wheel_sensor.pulses_per_rev, bike.bicycle.wheel_circumference_m),
        pulses_per_rev=bike.pedal_sensor.pulses_per_rev,
        channels=2 if bike.pedal_sensor.kind == "two channels" else 1,
        seed=seed,
        ticks_at_start_us=clock_at_start_us,
        first_channel=1 if bike.pedal_sensor.channel == "B" else 0,
    )
    world.rider.crank_rad = crank_rad
    return Bench(world, _levers(bike), bike.firmware_settings, seed, settings_after, build)


def bicycle_of(bike: Bike) -> Bicycle:
    """Return the bicycle of a bike file, standing at distance 0."""
    return Bicycle(
        mass_kg=bike.bicycle.mass_kg,
        drag_area_m2=bike.bicycle.drag_area_m2,
        rolling_coefficient=bike.bicycle.rolling_coefficient,
        wheel_circumference_m=bike.bicycle.wheel_circumference_m,
        wheel_inertia_kg_m2=bike.bicycle.wheel_inertia_kg_m2,
        brake_deceleration_m_per_s2=bike.bicycle.brake_deceleration_m_per_s2,
        chain_efficiency=bike.bicycle.chain_efficiency,
    )


def _motor(bike: Bike) -> Motor:
    return Motor(
        kind=bike.motor_controller.kind,
        start_v=bike.motor_controller.start_v,
        full_v=bike.motor_controller.full_v,
        lag_s=bike.motor_controller.lag_s,
        torque_constant_nm_per_a=bike.motor.torque_constant_nm_per_a,
        resistance_ohm=bike.motor.resistance_ohm,
        no_load_current_a=bike.motor.no_load_current_a,
        motor_current_limit_a=bike.motor.current_limit_a,
        battery_current_limit_a=bike.motor_controller.battery_current_limit_a,
        wheel_circumference_m=bike.bicycle.wheel_circumference_m,
        thermal_resistance_k_per_w=bike.motor.thermal_resistance_k_per_w,
        thermal_capacity_j_per_k=bike.motor.thermal_capacity_j_per_k,
        ambient_celsius=AMBIENT_CELSIUS,
    )


def _pedal_sensor(bike: Bike, crank_rad: float) -> PedalSensor:
    sensor = bike.pedal_sensor
    return PedalSensor(
        kind=SENSOR_KINDS[sensor.kind],
        pulses_per_rev=sensor.pulses_per_rev,
        a_leads=sensor.a_leads,
        duty=sensor.duty_percent / 100.0,
        phase_deg=sensor.phase_deg,
        angle_errors_deg=sensor.magnet_errors_deg(),
        hysteresis_deg=sensor.hysteresis_deg,
        crank_rad=crank_rad,
        on_b=sensor.channel == "B",
    )


def _levers(bike: Bike) -> Levers:
    return Levers(
        throttle_rest_v=bike.throttle.rest_v,
        throttle_full_v=bike.throttle.full_v,
        selector_low_v=bike.selector.low_v,
        selector_high_v=bike.selector.high_v,
        selector_positions=bike.selector.positions or 0,
        brake_switch=bike.brakes.switches != "none",
        shunt_noise_a=bike.shunt.noise_a,
        shunt_step_a=bike.shunt.step_a or NO_SHUNT_STEP_A,
    )
