"""The laws of a motor on a stand, as misses in units of the noise of the readings.

A direct-current machine and a controller without losses, as in the bench. `share` is the effective share of
the command: from the dead band on, up to 1, after a first-order lag. With the motor's current i:

* speed kind: share x battery voltage = volts for a speed x speed + resistance x i, and the battery gives
  share x i;
* torque kind: i = share x its limit as far as the voltage allows it, and battery power = i x (volts for a
  speed x speed + resistance x i); at its top speed battery voltage = volts for a speed x speed + resistance
  x i, and the battery gives i;
* at the highest command and an even speed i is the no-load current: the wheel is free.

The inertia of the wheel is not used, so no number of the wheel is needed.
"""

import numpy as np
from numpy.typing import NDArray

from host_sim.measuring.log import Series
from host_sim.measuring.stand_command import FineCommand, wanted_share
from host_sim.measuring.stand_data import Mask, StandData

NAMES = ("volts_s_per_m", "ohm", "no_load_a", "lag_s", "start_v", "full_v", "limit_a", "late_s")
VOLTS, OHM, NO_LOAD, LAG, START, FULL, LIMIT, LATE = range(8)
LATE_SHARE = 0.3  # Standard deviation of a time that is anywhere within a sample, 1 / sqrt(12) of it.
SPEED, TORQUE = "speed", "torque"
SHARE_LEAST = 0.05  # With less the motor hardly turns.
LIMIT_SHARE = 0.85  # Of the highest current in the log; above it a limit may be active.
TOP_SHARE = 0.98
BEND_SHARE = 0.15  # If limit and voltage allow currents this close to each other, either may be active.
PUSHES = 1.5  # Times the no-load current: above it the motor accelerates the wheel.
SMOOTH_S = 0.25
PEAK_NOISES = 5.0
IDLE_BELOW_V = 0.3  # Within this of the highest command, the throttle counts as fully open.


class Laws:
    """The laws of one kind for a stand run; with `moving` openings are used too, not only even speeds."""

    def __init__(self, data: StandData, kind: str, moving: bool, every: int = 1) -> None:
        """Choose the samples of each law as far as the log determines them; every `every`th in openings."""
        self.data, self.kind = data, kind
        self._fast = [data.speed, data.battery_v, data.current_a]
        # At even speeds: means over SMOOTH_S, at the sample in the middle.
        count = max(round(SMOOTH_S / data.step_s), 1)
        self._mean = [_mean(column, count) for column in self._fast]
        # Errors of a speed from wheel pulses are equal during a hold: a mean does not reduce them.
        self._less_noise = 1.0 / np.sqrt(count) if moving else 1.0
        even = _middles(data.steady, count)
        at_top = even & (data.speed > TOP_SHARE * data.top_m_per_s)
        self.top = np.flatnonzero(at_top)
        self.even = np.flatnonzero(even) if kind == SPEED else self.top
        highest_v = max(hold.command_v for hold in data.holds)
        self.idle = np.flatnonzero(at_top & (data.command_v > highest_v - IDLE_BELOW_V) & data.shunt)
        driving = data.driving
        if kind == TORQUE:
            # Near the highest current the battery's limit may be active.
            below = data.current_a < float(np.max(data.current_a)) - PEAK_NOISES * data.noise_a
            driving = (data.opening >= 0) & ~data.steady & below & (data.speed < TOP_SHARE * data.top_m_per_s)
        self.driving = np.flatnonzero(driving & moving)[::every]
        self._command = FineCommand(data, self.driving)
        self.counts = np.ones(len(self.driving), dtype=bool)
        self.bound = np.zeros(len(self.driving), dtype=bool)

    @property
    def rows(self) -> NDArray[np.intp]:
        """The row of the data for each miss."""
        return np.concatenate((self.driving, self.even, self.idle))

    def counted(self) -> Mask:
        """Return which misses are not left out."""
        return np.append(self.counts, np.ones(len(self.even) + len(self.idle), dtype=bool))

    def share(self, unknowns: Series) -> Series:
        """Return the effective share of the command at the driving samples."""
        lag_s, start_v, full_v, late_s = (float(value) for value in unknowns[[LAG, START, FULL, LATE]])
        return self._command.share(lag_s, start_v, full_v, late_s)

    def choose(self, unknowns: Series) -> None:
        """Leave out the samples at which the driving law does not apply with these unknowns."""
        speed, battery_v, current_a = (column[self.driving] for column in self._fast)
        volts, ohm, no_load_a, limit_a = (float(value) for value in unknowns[[VOLTS, OHM, NO_LOAD, LIMIT]])
        if not len(self.driving):
            return
        share, emf_v = self.share(unknowns), volts * speed
        if self.kind == SPEED:
            # If a limit is active, less current flows than the voltage allows; the power gives the motor's.
            watts = np.maximum(current_a * battery_v, 0.0)
            motor_a = (np.sqrt(emf_v**2 + 4.0 * ohm * watts) - emf_v) / (2.0 * ohm)
            limited = (motor_a > LIMIT_SHARE * np.max(motor_a)) | (
                current_a > LIMIT_SHARE * np.max(current_a)
            )
            self.counts = (share > SHARE_LEAST) & ~limited
        else:
            asked_a, left_a = share * limit_a, np.maximum((battery_v - emf_v) / ohm, 0.0)
            self.bound = asked_a > left_a
            # Near the bend the effect of noise is one-sided.
            bend = np.abs(asked_a - left_a) < BEND_SHARE * left_a
            self.counts = (np.minimum(asked_a, left_a) > PUSHES * no_load_a) & ~bend

    def misses(self, unknowns: Series) -> Series:
        """Return the misses of all laws, at `rows`; 0 at samples that are left out."""
        volts, ohm, no_load_a = (float(value) for value in unknowns[[VOLTS, OHM, NO_LOAD]])
        noise_m_per_s, noise_v, noise_a = self._noises() * self._less_noise
        # At top speed the torque kind gives the whole voltage.
        start_v, full_v = float(unknowns[START]), float(unknowns[FULL])
        whole = np.ones(len(self.data.time_s))
        if self.kind == SPEED:
            whole = wanted_share(self.data.command_v, start_v, full_v)
        share = whole[self.even]
        speed, battery_v, current_a = (column[self.even] for column in self._mean)
        if not self.data.shunt:
            current_a = share * no_load_a  # The drop is computed with the bike file's no-load current.
        even_v = share * (share * battery_v - volts * speed) - ohm * current_a
        idle_a = self._mean[2][self.idle] - whole[self.idle] * no_load_a
        noise = np.hypot(volts * noise_m_per_s, noise_v)
        return np.concatenate((self._driving_misses(unknowns), even_v / noise, idle_a / noise_a))

    def _noises(self) -> Series:
        return np.array([self.data.noise_m_per_s, self.data.noise_v, self.data.noise_a])

    def _driving_misses(self, unknowns: Series) -> Series:
        """Return the misses while the motor drives.

        The unknowns are factors of noisy readings, so the noise of a miss depends on them, as in Deming's
        regression; with a fixed noise the resistance would be too small.
        """
        volts, ohm, limit_a = (float(value) for value in unknowns[[VOLTS, OHM, LIMIT]])
        speed, battery_v, current_a = (column[self.driving] for column in self._fast)
        noise_m_per_s, noise_v, noise_a = self._noises()
        share, emf_v = self.share(unknowns), volts * speed
        if self.kind == SPEED:
            miss = share * (share * battery_v - emf_v) - ohm * current_a
            noise = np.sqrt(
                (share * volts * noise_m_per_s) ** 2 + (share * share * noise_v) ** 2 + (ohm * noise_a) ** 2
            )
        else:
            motor_a = np.minimum(share * limit_a, np.maximum((battery_v - emf_v) / ohm, 0.0))
            miss = current_a - motor_a * (emf_v + motor_a * ohm) / battery_v
            by_speed = volts * np.where(self.bound, 1.0 / ohm, motor_a / battery_v)
            by_voltage = np.where(self.bound, noise_v / ohm, 0.0)
            noise = np.sqrt(noise_a**2 + (by_speed * noise_m_per_s) ** 2 + by_voltage**2)
        return np.asarray(np.where(self.counts, miss / np.maximum(noise, 1e-6), 0.0))


def _mean(values: Series, count: int) -> Series:
    """Return the mean of `count` samples around each sample."""
    from scipy.ndimage import uniform_filter1d

    return np.asarray(uniform_filter1d(values, count))


def _middles(steady: Mask, count: int) -> Mask:
    """Return every `count`th sample, where all `count` around it are steady."""
    found = np.zeros_like(steady)
    found[count // 2 :: count] = _mean(steady.astype(float), count)[count // 2 :: count] > 1.0 - 0.5 / count
    return found
