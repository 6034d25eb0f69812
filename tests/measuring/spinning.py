"""Random motors on a stand: independent equations, solved by scipy's solve_ivp, and a logger's readings.

Nothing of the bench or of the fit is used here. A direct-current machine: the motor controller gives it a
share of the battery voltage (speed kind) or of its current limit (torque kind), which follows the command
with a first-order lag. Battery and motor exchange power without losses. Above the current that overcomes the
motor's own friction the motor pushes the wheel; below it the hub's freewheel lets the wheel turn alone.
"""

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from scipy.integrate import solve_ivp

from host_sim.measuring.log import Log

FINE_S = 0.001
NAMES = ("time_s", "speed_m_per_s", "battery_v", "current_a", "command_v")


@dataclass(frozen=True, slots=True)
class Spin:
    """A motor, its controller, its battery, and the wheel with its resistance."""

    kind: str
    volts: float = 5.0  # V for 1 m/s at the rim, and N for 1 A.
    ohm: float = 0.25
    no_load_a: float = 0.8
    lag_s: float = 0.03
    start_v: float = 1.0
    full_v: float = 3.6
    motor_limit_a: float = 28.0
    battery_limit_a: float = 18.0
    pack_v: float = 40.0
    pack_ohm: float = 0.12
    pack_fall_v_per_as: float = 2e-4
    wheel_kg: float = 2.0
    bearing_n: float = 0.05
    air_n_per_m2_per_s2: float = 0.002
    brake_n: float = 40.0

    @classmethod
    def random(cls, random, kind=None):
        """Return any motor that a bicycle may have."""
        pack_v = float(random.choice([36.0, 48.0, 52.0]))
        start_v = random.uniform(0.6, 1.4)
        return cls(
            kind or ("speed" if random.random() < 0.5 else "torque"),
            pack_v / random.uniform(6.0, 13.0),
            random.uniform(0.08, 0.45),
            random.uniform(0.4, 1.4),
            random.uniform(0.015, 0.08),
            start_v,
            start_v + random.uniform(1.9, 2.6),
            random.uniform(15.0, 45.0),
            random.uniform(12.0, 30.0),
            pack_v * random.uniform(0.92, 1.15),
            random.uniform(0.05, 0.25),
            random.uniform(1e-4, 4e-4),
            random.uniform(1.2, 3.5),
            random.uniform(0.0, 0.15),
            random.uniform(0.0, 0.004),
            random.uniform(25.0, 60.0),
        )

    @property
    def truth(self):
        """Return what a fit should find, by its names; the no-load current turns the wheel too."""
        sag_v = self.no_load_a * (self.ohm + self.pack_ohm)
        top = (self.pack_v - sag_v) / self.volts
        drag_n = self.bearing_n + self.air_n_per_m2_per_s2 * top**2
        found = {
            "volts_s_per_m": self.volts,
            "ohm": self.ohm,
            "no_load_a": self.no_load_a + drag_n / self.volts,
            "lag_s": self.lag_s,
            "start_v": self.start_v,
            "full_v": self.full_v,
        }
        return found | ({"limit_a": self.motor_limit_a} if self.kind == "torque" else {})

    def currents(self, share, speed, source_v):
        """Return current of the motor and of the battery, A, at a share and a speed."""
        if share < 1e-4:
            return 0.0, 0.0
        emf_v = self.volts * speed
        if self.kind == "speed":
            # The motor draws i, the battery gives share x i and sags by it.
            motor_a = (share * source_v - emf_v) / (self.ohm + share * share * self.pack_ohm)
            motor_a = min(motor_a, self.motor_limit_a)
            idle_a = share * self.no_load_a
        else:
            motor_a = min(share * self.motor_limit_a, (source_v - emf_v) / (self.ohm + self.pack_ohm))
            idle_a = self.no_load_a
        if motor_a <= self.no_load_a:
            # The motor turns alone, at the speed of its voltage.
            return self.no_load_a, idle_a
        watts = motor_a * (emf_v + motor_a * self.ohm)
        battery_a = 2.0 * watts / (source_v + sqrt(max(source_v**2 - 4.0 * self.pack_ohm * watts, 0.0)))
        if battery_a > self.battery_limit_a:
            battery_a = self.battery_limit_a
            watts = battery_a * (source_v - self.pack_ohm * battery_a)
            motor_a = (sqrt(emf_v**2 + 4.0 * self.ohm * watts) - emf_v) / (2.0 * self.ohm)
        return motor_a, battery_a

    def answer(self, command, times, braked):
        """Solve the speed and the charge; the share is a lag of the command, exact for each FINE_S."""
        wanted = np.clip((command - self.start_v) / (self.full_v - self.start_v), 0.0, 1.0)
        share = np.empty_like(wanted)
        now, kept = 0.0, np.exp(-FINE_S / self.lag_s)
        between = 0.5 * (wanted[:-1] + wanted[1:])
        for row, value in enumerate(between):
            share[row] = now
            now = value + (now - value) * kept
        share[-1] = now
        held = np.interp(times, *braked)

        def slope(time_s, state):
            speed, charge_as = max(state[0], 0.0), state[1]
            place = min(time_s / FINE_S, len(share) - 1.001)
            row = int(place)
            now = share[row] + (share[row + 1] - share[row]) * (place - row)
            source_v = self.pack_v - self.pack_fall_v_per_as * charge_as
            motor_a, battery_a = self.currents(now, speed, source_v)
            push_n = self.volts * max(motor_a - self.no_load_a, 0.0)
            drag_n = self.bearing_n + self.air_n_per_m2_per_s2 * speed**2 + self.brake_n * held[row]
            if state[0] <= 0.0:
                drag_n = min(drag_n, push_n)
            return ((push_n - drag_n) / self.wheel_kg, battery_a)

        solved = solve_ivp(
            slope, (0.0, times[-1]), (0.0, 0.0), "RK45", times, max_step=0.02, rtol=1e-5, atol=1e-5
        )
        speed, charge_as = np.maximum(solved.y[0], 0.0), solved.y[1]
        source_v = self.pack_v - self.pack_fall_v_per_as * charge_as
        battery_a = np.array([self.currents(*one)[1] for one in zip(share, speed, source_v, strict=True)])
        return speed, source_v - self.pack_ohm * battery_a, battery_a


@dataclass(frozen=True, slots=True)
class Logger:
    """How the readings are taken: one each `step_s`, noise of each, steps of each, pulses of the wheel."""

    step_s: float = 0.005
    speed_noise: float = 0.02
    voltage_noise: float = 0.02
    current_noise: float = 0.05
    command_noise: float = 0.0
    current_step_a: float = 0.0
    voltage_step_v: float = 0.0
    skewed_s: float = 0.0  # The command is read so much later than the other readings.
    pulse_m: float = 0.0  # Way from one pulse of the wheel to the next; 0 reads the true speed.

    def read(self, random, times, speed, battery_v, current_a, command_v):
        """Return the log."""
        every = max(round(self.step_s / FINE_S), 1)
        if self.pulse_m:
            speed = by_pulses(times, speed, self.pulse_m)
        rows = slice(None, None, every)
        command_v = np.interp(times + self.skewed_s, times, command_v)
        columns = [times[rows], speed[rows], battery_v[rows], current_a[rows], command_v[rows]]
        for place, size in enumerate(
            (self.speed_noise, self.voltage_noise, self.current_noise, self.command_noise)
        ):
            columns[place + 1] = columns[place + 1] + random.normal(size=len(columns[0])) * size
        if self.pulse_m:
            columns[1] = speed[rows]
        for place, step in ((2, self.voltage_step_v), (3, self.current_step_a)):
            if step:
                columns[place] = np.round(columns[place] / step) * step
        columns[4] = np.maximum(columns[4], 0.0)
        return Log("stand.csv", dict(zip(NAMES, columns, strict=True)))


def by_pulses(times, speed, pulse_m):
    """Return the speed by the time between the last two pulses, as a board does; 0 if the next is overdue."""
    way = np.cumsum(speed) * FINE_S
    number = np.floor(way / pulse_m).astype(int)
    read, last, now = np.zeros_like(speed), 0.0, 0.0
    for row in range(1, len(times)):
        if number[row] > number[row - 1]:
            now, last = pulse_m / (times[row] - last) if last else 0.0, times[row]
        elif last and times[row] - last > 1.5:
            now, last = 0.0, 0.0
        read[row] = now
    return read


def procedure(random, levels, rounds=3, hold_s=4.0, stop_s=3.5):
    """Return times and commands of a person at the throttle, and when the brake is pulled."""
    at_s, command_v = [0.0, 1.0], [0.0, 0.0]
    brake_s, brake = [0.0], [0.0]
    for number in range(rounds):
        for level in levels:
            level = level * random.uniform(0.97, 1.03) if level < 4.0 else level
            opening_s = random.uniform(0.4, 0.8) if number % 2 == 0 else random.uniform(0.02, 0.08)
            start_s = at_s[-1]
            close_s = start_s + opening_s + hold_s
            at_s += [start_s + opening_s, close_s, close_s + random.uniform(0.01, 0.04), close_s + stop_s]
            command_v += [level, level, 0.0, 0.0]
            brake_s += [close_s + 1.2, close_s + 1.3, close_s + stop_s - 0.05, close_s + stop_s - 0.04]
            brake += [0.0, 1.0, 1.0, 0.0]
    return (np.array(at_s), np.array(command_v)), (brake_s, brake)


def levels_of(spin):
    """Return commands for about a third and two thirds of the way, and fully open."""
    span_v = spin.full_v - spin.start_v
    return (spin.start_v + 0.33 * span_v, spin.start_v + 0.66 * span_v, 4.2)


def logged(spin, random, logger=None, levels=None, rounds=3):
    """Return the log of a stand run of this motor."""
    (at_s, command_v), braked = procedure(random, levels or levels_of(spin), rounds)
    return followed(spin, random, at_s, command_v, braked, logger)


def followed(spin, random, at_s, command_v, braked=None, logger=None):
    """Return the log of a run with these commands; without `braked` the brake is pulled for the last 3 s."""
    times = np.arange(0.0, at_s[-1], FINE_S)
    command = np.interp(times, at_s, command_v)
    last_s = at_s[-1] - 3.0
    answer = spin.answer(command, times, braked or ([last_s, last_s + 0.1], [0.0, 1.0]))
    speed, battery_v, current_a = answer
    return (logger or Logger()).read(random, times, speed, battery_v, current_a, command)


def board(spin):
    """Return a logger like a board: speed from wheel pulses, rounded readings, 20 rows a second."""
    return replace(Logger(), step_s=0.05, pulse_m=2.1 / 6.0, current_step_a=0.03, voltage_step_v=0.01)
