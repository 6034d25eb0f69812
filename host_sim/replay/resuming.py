"""Resumes a ride in its middle: the state that is not in a log is reconstructed from the log.

A log that begins in the middle of a ride, such as a frozen ring, has inputs and outputs, but not the
controller's state. The inputs restore most of it within seconds: edges, speeds, smoothed readings. The rest
is taken from the log itself:

* while it settles, a controller that decides otherwise than the board is corrected from what the board did:
  its engagement state, command, fault and indicator;
* afterwards one number is still open, the power loop's integral with its carry. Each command that the board
  put out narrows it down to what rounds to that command. A step that differs is put right while some value
  explains all commands so far;
* what happened before the log, such as a suspicion, may make other steps differ in the first EXCUSED steps.

The first step that none of this explains is a parting, and nothing is corrected any more. A fault that the
board found is never taken from the log once the controller has settled: the firmware must find it by itself.
"""

from itertools import islice

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, FAULTED, THROTTLING, WAITING
from firmware.guard.faults import NO_FAULT
from firmware.sense.rotation import WHEEL_STILL_US
from firmware.settings import TWO_CHANNELS, Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US
from host_sim.boardlink.recorded import RecordedStep
from host_sim.replay.replayer import Differences, Replayer

SETTLING_LEAST = 200  # Steps: 1 s, in which the smoothed battery voltage settles.
SETTLING_MOST = 1_000  # 5 s.
EXCUSED = 1_600  # 8 s: suspicions and what the motor model has learned last longer than sensors need.
PULSES_NEEDED = 4  # Three periods of the wheel: speed, whether it is steady, and how late it is known.
PITCHES_NEEDED = 3
TRIALS = 3  # Runs through the first steps to find the integral.
LOOKED_AHEAD = 4_000
_UV_PER_MV = 1000
_WIDE_UV = 1000


class Resumed(Replayer):
    """A controller that resumes a ride in its middle.

    Read: `change`, the change of the integral when the controller has settled, in units of its carry, that
    the steps so far suggest. A controller that starts with this change differs less on the same steps.
    """

    def __init__(
        self, settings: Settings, steps: list[RecordedStep], same_settings: bool, change: int = 0
    ) -> None:
        """Begin before the first of `steps`; with other settings nothing is corrected once it has settled."""
        first = steps[0]
        super().__init__(settings, (first.now_us - CONTROL_PERIOD_US) & TICKS_MAX_US)
        self.change = self._change_at_first = change
        self._settled = False
        self._rested = False
        self._unexplained = not same_settings
        self._steps = 0
        self._pulses = 0
        self._edges = 0
        self._quiet_steps = 0
        self._edges_needed = PITCHES_NEEDED * (4 if settings.sensor_kind == TWO_CHANNELS else 2)
        self._carry_units = self.controller.power_loop._integral_units
        self._wide = _WIDE_UV * self._carry_units
        self._lowest, self._highest = -self._wide, self._wide
        if first.state not in (WAITING, FAULTED):
            self.controller.throttle.rest_seen = True
            self.controller.guard._throttle_rest_seen = True
        _know_levels(self.controller, steps)
        self._assume(first)

    def step(self, step: RecordedStep) -> Differences:
        """Run the step and return the differences; `put_right` says whether they are explained."""
        differences = super().step(step)
        self.put_right = False
        self._steps += 1
        if not self._settled:
            self._settled = self._settles(step)
            self.put_right = bool(differences)
            if differences:
                self._assume(step)
            if self._settled and step.command_mv > 0:
                self._change_integral(self._change_at_first)
        elif not self._unexplained:
            self._narrow(step)
            if differences:
                self.put_right = self._explain(step, differences) or self._excuse(step, differences)
                self._unexplained = not self.put_right
        return differences

    def _excuse(self, step: RecordedStep, differences: Differences) -> bool:
        """Correct differences due to something before the log, but never a fault."""
        if self._steps >= EXCUSED or ("fault_cause" in differences and step.fault_cause != NO_FAULT):
            return False
        self._assume(step)
        self.conclude()
        self._lowest, self._highest = -self._wide, self._wide
        return True

    def _settles(self, step: RecordedStep) -> bool:
        """Return whether the sensing parts have seen enough to be in the board's state."""
        pulses = sum(edge.wheel for edge in step.edges)
        self._pulses += pulses
        self._edges += len(step.edges) - pulses
        self._quiet_steps = 0 if pulses else self._quiet_steps + 1
        wheel_known = self._pulses >= PULSES_NEEDED or self._quiet_steps > WHEEL_STILL_US // CONTROL_PERIOD_US
        crank_known = self._edges >= self._edges_needed or self.controller.crank.standing
        known = self._steps >= SETTLING_LEAST and wheel_known and crank_known
        return known or self._steps >= SETTLING_MOST

    def _assume(self, step: RecordedStep) -> None:
        """Use the board's outputs as ours."""
        controller = self.controller
        controller.engagement.state = step.state
        controller.faults.cause = step.fault_cause
        outputs = controller.outputs
        if self._pulses == 0 and outputs.command_mv > 0 and step.command_mv == 0 and _drives(step):
            # Nothing else withholds help for this long in a state that drives.
            controller.wheel.overdue = True
        outputs.command_mv = step.command_mv
        outputs.drive_enabled = step.drive_enabled
        outputs.indicator = step.indicator
        outputs.fault_cause = step.fault_cause
        controller.slew_limiter.command_mv = step.command_mv
        if step.command_mv > 0:
            low_uv = _least_uv(controller, step.command_mv)
            loop = controller.power_loop
            near_uv = min(max(loop._target_uv, low_uv), low_uv + _UV_PER_MV - 1)
            loop._integral_uv += near_uv - loop._target_uv
            loop._target_uv = near_uv
            loop.target_mv = step.command_mv
            controller.feed_forward._stop_seeking()

    def _change_integral(self, change: int) -> int:
        """Change the integral by so many units of its carry; return by how many uV that is."""
        loop = self.controller.power_loop
        carry = loop._carry + change
        change_uv = carry // self._carry_units
        loop._integral_uv += change_uv
        loop._carry = carry - change_uv * self._carry_units
        return change_uv

    def _narrow(self, step: RecordedStep) -> None:
        """Keep only changes of the integral that would have led to the board's command."""
        controller = self.controller
        loop = controller.power_loop
        if loop.target_mv == 0:
            self.conclude()
            self._lowest = self._highest = 0
        elif (
            loop.target_mv == controller.slew_limiter.command_mv
            and controller.feed_forward.seek_mv == 0
            and 0 < loop._target_uv < loop._range_uv
        ):
            low_uv = _least_uv(controller, step.command_mv) - loop._target_uv
            low = low_uv * self._carry_units - loop._carry
            self._lowest = max(self._lowest, low)
            self._highest = min(self._highest, low + _UV_PER_MV * self._carry_units - 1)

    def conclude(self) -> None:
        """Apply `change` to all steps so far; steps after a rest don't show it."""
        if not self._rested and self._lowest <= self._highest:
            self.change += (self._lowest + self._highest) // 2
        self._rested = True

    def _explain(self, step: RecordedStep, differences: Differences) -> bool:
        """Correct the step, if a value of the integral leads to it."""
        if set(differences) != {"command_mv"} or self._lowest > self._highest or step.command_mv == 0:
            return False
        change = (self._lowest + self._highest) // 2
        self._lowest -= change
        self._highest -= change
        if not self._rested:
            self.change += change
        controller = self.controller
        controller.outputs.command_mv = step.command_mv
        controller.slew_limiter.command_mv = step.command_mv
        loop = controller.power_loop
        loop._target_uv += self._change_integral(change)
        loop.target_mv = step.command_mv
        return True


def resumed_at(settings: Settings, steps: list[RecordedStep], same_settings: bool) -> Resumed:
    """Return a controller that resumes the ride before the first of `steps` with the least difference."""
    change = 0
    for _ in range(TRIALS if same_settings else 0):
        trial = Resumed(settings, steps, same_settings, change)
        for step in steps:
            trial.step(step)
        trial.conclude()
        if trial.change == change:
            break
        change = trial.change
    return Resumed(settings, steps, same_settings, change)


def _drives(step: RecordedStep) -> bool:
    return step.state in (ASSISTING, THROTTLING)


def _least_uv(controller: Controller, command_mv: int) -> int:
    """Return the least value that the power loop rounds to this command."""
    return (command_mv - controller.power_loop._start_mv) * _UV_PER_MV


def _know_levels(controller: Controller, steps: list[RecordedStep]) -> None:
    """Set the levels before the first edge to those from which the first two edges follow."""
    edges = list(islice((edge for step in steps for edge in step.edges if not edge.wheel), 2))
    crank = controller.crank
    if len(edges) < 2:
        return
    mask, shift = crank._mask, crank._shift
    first, second = (edge.levels >> shift & mask for edge in edges)
    before = second if mask == 1 else _gray(2 * _place(first) - _place(second) & 3)
    crank.levels = before
    crank._last_position = _place(before)
    crank._started = True
    controller.guard._levels = before << shift


def _place(levels: int) -> int:
    return levels ^ levels >> 1


def _gray(place: int) -> int:
    return place ^ place >> 1
