"""A controller and its inputs, stepped by recorded steps."""

from firmware.controller import Controller
from firmware.records import EdgeLog, Inputs
from firmware.settings import Settings
from host_sim.boardlink.recorded import RecordedEdge, RecordedStep

COMPARED = ("command_mv", "drive_enabled", "indicator", "fault_cause", "state")

Differences = dict[str, tuple[int, int]]


class GivenEdges(EdgeLog):
    """A log that returns the edges of the recorded step, however many there are."""

    __slots__ = ("_given",)

    def __init__(self) -> None:
        """Start empty."""
        EdgeLog.__init__(self)
        self._given: list[RecordedEdge] = []

    def give(self, edges: list[RecordedEdge]) -> None:
        """Store the edges for the next step."""
        self._given = edges[::-1]

    def take(self) -> bool:
        """Move the oldest edge to `levels` and `time_us`; False if there is none."""
        if not self._given:
            return False
        edge = self._given.pop()
        self.levels = edge.levels
        self.time_us = edge.time_us
        return True


class Replayer:
    """A controller and its inputs, stepped by recorded steps.

    Read after a step: `put_right`, whether its differences were attributed to an unknown state, and
    corrected.
    """

    def __init__(self, settings: Settings, started_us: int) -> None:
        """Switch the controller on at this time."""
        self.controller = Controller(settings, started_us)
        self.inputs = Inputs()
        self._crank = GivenEdges()
        self._wheel = GivenEdges()
        self.inputs.crank = self._crank
        self.inputs.wheel = self._wheel
        self.put_right = False

    def step(self, step: RecordedStep) -> Differences:
        """Run the step; return which outputs differ from the board's: here, and there."""
        inputs = self.inputs
        self._crank.give([edge for edge in step.edges if not edge.wheel])
        self._wheel.give([edge for edge in step.edges if edge.wheel])
        self._crank.overruns = step.lost_edges
        inputs.sampled_us = step.sampled_us
        inputs.throttle_mv = step.throttle_mv
        inputs.selector_mv = step.selector_mv
        inputs.battery_mv = step.battery_mv
        inputs.current_ma = step.current_ma
        inputs.motor_decicelsius = step.motor_decicelsius
        inputs.brake_pulled = step.brake_pulled
        inputs.clear_requested = step.clear_requested
        outputs = self.controller.step(inputs, step.now_us)
        here = (
            outputs.command_mv,
            outputs.drive_enabled,
            outputs.indicator,
            outputs.fault_cause,
            self.controller.engagement.state,
        )
        there = (step.command_mv, step.drive_enabled, step.indicator, step.fault_cause, step.state)
        if here == there:
            return {}
        pairs = zip(COMPARED, here, there, strict=True)
        return {name: (int(mine), int(theirs)) for name, mine, theirs in pairs if mine != theirs}
