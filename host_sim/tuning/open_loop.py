"""The power path of a bicycle without its controller: command in, the firmware's own reading of power out.

The real world of the bench, its simulated board with noise and steps of the shunt, and the firmware's own
smoothing (firmware/sense/supply.py), on a roller that holds the speed. Each call is one control period.
"""

from firmware.records import Inputs, Outputs
from firmware.sense.supply import Supply
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.assemble import NO_SHUNT_STEP_A, bench_for
from host_sim.bench.clock import Agenda
from host_sim.bench.sim_board import Levers, SimBoard
from host_sim.bikes.model import Bike
from host_sim.tuning.operating import OperatingPoint

_LONG_US = 10**12


class OpenLoop:
    """A bicycle on a roller at one operating point, with a given command. Read: `command_mv`, `power_w`."""

    def __init__(self, bike: Bike, point: OperatingPoint, seed: int) -> None:
        """Switch on at rest; `seed` decides the noise."""
        self._settings = bike.firmware_settings
        self._world = bench_for(bike, seed).world
        self._world.roller_m_per_s = point.speed_m_per_s
        self._charge = point.charge
        levers = Levers(
            0.8, 3.5, 0.5, 4.5, 0, False, bike.shunt.noise_a, bike.shunt.step_a or NO_SHUNT_STEP_A
        )
        self._board = SimBoard(self._world, Agenda(), levers, _LONG_US, seed)
        self._inputs = Inputs()
        self._outputs = Outputs()
        self._outputs.valid_for_us = 10 * CONTROL_PERIOD_US
        self._supply = Supply()
        self._celsius = self._world.motor.temperature_celsius
        self.command_mv = self._settings.command_start_mv
        self.power_w = 0

    def step(self, command_mv: int) -> int:
        """Read the power, then output `command_mv` for this period; return the reading, W."""
        world = self._world
        world.battery.charge = self._charge  # The state of charge must not change.
        world.motor.temperature_celsius = self._celsius
        self._board.read(self._inputs)
        self._supply.step(self._inputs.battery_mv, self._inputs.current_ma)
        self.power_w = self._supply.power_w
        self._outputs.command_mv = self.command_mv = command_mv
        self._board.write(self._outputs)
        return self.power_w

    def mean_w(self, command_mv: int, periods: int) -> float:
        """Hold a command and return the mean reading."""
        return sum(self.step(command_mv) for _ in range(periods)) / periods

    def settle_at(self, power_w: float) -> bool:
        """Find the command that draws `power_w`; False if even the highest command does not."""
        low_mv, high_mv = self._settings.command_start_mv, self._settings.command_max_mv
        self.mean_w(high_mv, 120)
        if self.mean_w(high_mv, 20) < power_w:
            return False
        while high_mv - low_mv > 1:
            middle_mv = (low_mv + high_mv) // 2
            self.mean_w(middle_mv, 100)
            if self.mean_w(middle_mv, 20) < power_w:
                low_mv = middle_mv
            else:
                high_mv = middle_mv
        self.mean_w(high_mv, 100)
        return True
