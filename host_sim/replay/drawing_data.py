"""The data for the picture of a replay: a trace like that of a ride, its events, one second of edges."""

from collections import deque
from typing import TextIO

from firmware.controller import Controller
from firmware.decide.ceilings import CEILING_NAMES
from firmware.decide.engagement import ASSISTING, FAULTED, STATE_NAMES
from firmware.guard.faults import CAUSE_NAMES
from host_sim.bench.meter import EVENTS_KEPT, RideEvent
from host_sim.bench.trace import COLUMNS, PERIODS_PER_ROW
from host_sim.boardlink.recorded import RecordedStep, crank_edges

HALF_S = 0.5
FIRST_CAUSE = "first cause: "


class ReplayTrace:
    """Writes rows like `host_sim/bench/trace.py`; values only a bench has are 0. Read: `events`, `edges`.

    `edges` are those of the second round the first engagement, `edges_before` the levels before them,
    `centre_us` the time of that engagement, or None. Times count from the beginning of the log.
    """

    def __init__(self, file: TextIO) -> None:
        """Write the heading to `file`, an open text file."""
        self.events: list[RideEvent] = []
        self.edges: list[tuple[int, int]] = []
        self.edges_before = 0
        self.centre_us: int | None = None
        self._write = file.write
        self._write(",".join(COLUMNS) + "\n")
        self._periods = 0
        self._state = -1
        self._cause = 0
        self._faults = 0
        self._distance_m = 0.0
        self._last_s = 0.0
        self._recent: deque[tuple[int, int]] = deque()

    def look(self, step: RecordedStep, controller: Controller, time_s: float) -> None:
        """Record a step that was just replayed."""
        self._distance_m += controller.wheel.speed_mm_per_s / 1000 * max(time_s - self._last_s, 0.0)
        self._last_s = max(time_s, self._last_s)
        state = controller.engagement.state
        self._take_edges(step, state, time_s)
        self._take_fault(controller.outputs.fault_cause, time_s)
        self._periods += 1
        if state != self._state and state != FAULTED:
            self._note(time_s, STATE_NAMES[state])
        if self._periods >= PERIODS_PER_ROW or state != self._state:
            self._periods = 0
            self._state = state
            self._row(step, controller, self._last_s)

    def _take_edges(self, step: RecordedStep, state: int, time_s: float) -> None:
        """Store the last half second of edges, and those of the half second after the engagement."""
        now_us = round(time_s * 1e6)
        half_us = round(HALF_S * 1e6)
        if self.centre_us is not None and now_us > self.centre_us + half_us:
            return
        for edge in crank_edges(step):
            ago_us = (step.now_us - edge.time_us) % 2**30
            at_us = now_us - (ago_us if ago_us < 2**29 else ago_us - 2**30)
            (self._recent if self.centre_us is None else self.edges).append((at_us, edge.levels))
        while self._recent and self._recent[0][0] < now_us - half_us:
            self.edges_before = self._recent.popleft()[1]
        if self.centre_us is None and state == ASSISTING:
            self.centre_us = now_us
            self.edges = sorted(self._recent)
            self._recent.clear()

    def _take_fault(self, cause: int, time_s: float) -> None:
        if cause != self._cause and cause:
            self._faults += 1
            self._note(time_s, (FIRST_CAUSE if self._faults == 1 else "") + CAUSE_NAMES[cause])
        self._cause = cause

    def _note(self, time_s: float, text: str) -> None:
        if len(self.events) < EVENTS_KEPT:
            self.events.append(RideEvent(time_s, text))

    def _row(self, step: RecordedStep, controller: Controller, time_s: float) -> None:
        speed_m_per_s = controller.wheel.speed_mm_per_s / 1000
        cadence_rpm = controller.pedalling.cadence_rpm
        wanted_w = controller.request.wanted_w
        outputs = controller.outputs
        throttle, selector = controller.throttle.share_permille, controller.selector.share_permille
        self._write(
            f"{time_s:.3f},{self._distance_m:.2f},{speed_m_per_s:.3f},{speed_m_per_s:.3f},0.0000,"
            f"{cadence_rpm},{cadence_rpm},0,{wanted_w},{min(wanted_w, controller.ceilings.ceiling_w)},"
            f"{controller.supply.power_w},{outputs.command_mv / 1000:.3f},{STATE_NAMES[self._state]},"
            f"{CEILING_NAMES[controller.ceilings.lowest]},{controller.pedalling.stop_gap_us / 1e6:.3f},"
            f"{step.battery_mv / 1000:.2f},{step.motor_decicelsius / 10:.1f},"
            f"{throttle / 1000:.2f},{selector / 1000:.3f},"
            f"{int(step.brake_pulled)},{CAUSE_NAMES[outputs.fault_cause]}\n"
        )
