"""Golden traces: whole rides of the bench, with the firmware's inputs and outputs.

A trace is a sequence of records of 32 bytes, little-endian, each followed by its data:

| bytes | of a step | of a life (a controller starts) | of the end |
|---|---|---|---|
| 0 | 1 | 2 | 3 |
| 1 | wheel edges that follow | | |
| 2-3 | crank edges that follow, before those of the wheel | bytes of settings that follow | |
| 4-7 | now_us | now_us | steps in all |
| 8-11 | sampled_us | | |
| 12-13, 14-15 | throttle_mv, selector_mv | | |
| 16-19, 20-23 | battery_mv, current_ma | | |
| 24-25 | motor_decicelsius, signed | | |
| 26 | 1 brake pulled, 2 clear requested | | |
| 27-28 | command_mv | | |
| 29 | drive enabled, and twice the indicator | | |
| 30, 31 | fault cause, engagement state | | |

An edge is its levels (one byte) and its time_us (four). Settings are `name=value` with blanks between.
Nothing is left out: an edge that finds its log full is in the trace, and is dropped again when replayed.
"""

from pathlib import Path
from struct import Struct
from typing import BinaryIO

from firmware.controller import Controller
from firmware.loop import Board, Heap, LoopCounters, run
from firmware.records import EdgeLog, Inputs, Outputs
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import US_PER_S, Agenda
from host_sim.bench.sim_board import Restart, RideOver, SimBoard
from host_sim.forms.golden_ride import GoldenRide
from host_sim.forms.replay import END, LIFE, STEP

HEAD = Struct("<BBHIIHHIIhBHBBB")
EDGE = Struct("<BI")


class TraceWriter:
    """Writes one trace to a file that is open for writing bytes. Read: `steps`, `edges`."""

    def __init__(self, file: BinaryIO) -> None:
        """Begin an empty trace."""
        self._file = file
        self.steps = 0
        self.edges = 0

    def life(self, settings: Settings, now_us: int) -> None:
        """Record the start of a controller with these settings."""
        text = " ".join(f"{name}={value}" for name, value in settings.as_dict().items()).encode()
        self._file.write(HEAD.pack(LIFE, 0, len(text), now_us, *[0] * 11) + text)

    def step(
        self,
        inputs: Inputs,
        now_us: int,
        crank_edges: list[tuple[int, int]],
        wheel_edges: list[tuple[int, int]],
        outputs: Outputs,
        state: int,
    ) -> None:
        """Record one step of the controller; edges are (levels, time_us), all since the step before."""
        head = HEAD.pack(
            STEP,
            len(wheel_edges),
            len(crank_edges),
            now_us,
            inputs.sampled_us,
            inputs.throttle_mv,
            inputs.selector_mv,
            inputs.battery_mv,
            inputs.current_ma,
            inputs.motor_decicelsius,
            inputs.brake_pulled | inputs.clear_requested << 1,
            outputs.command_mv,
            outputs.drive_enabled | outputs.indicator << 1,
            outputs.fault_cause,
            state,
        )
        self._file.write(head + b"".join([EDGE.pack(*edge) for edge in crank_edges + wheel_edges]))
        self.steps += 1
        self.edges += len(crank_edges) + len(wheel_edges)

    def end(self) -> None:
        """Close the trace, so that a trace cut short is recognised."""
        self._file.write(HEAD.pack(END, 0, 0, self.steps, *[0] * 11))


class EveryEdge(EdgeLog):
    """A log of all edges for the recorder. Read: `edges`, of (levels, time_us)."""

    __slots__ = ("edges",)

    def __init__(self) -> None:
        """Start empty."""
        super().__init__()
        self.edges: list[tuple[int, int]] = []

    def record(self, levels: int, time_us: int) -> None:
        """Store an edge."""
        self.edges.append((levels, time_us))

    def hand_on(self, log: EdgeLog) -> list[tuple[int, int]]:
        """Record all edges since the last call into `log`, and return them."""
        edges = self.edges
        self.edges = []
        for levels, time_us in edges:
            log.record(levels, time_us)
        return edges


class Recorder(Board):
    """A board that wraps the simulated one and records all inputs and outputs.

    Read: `met`, the (state, fault cause, indicator) that the outputs showed; `longest_us`, the longest time
    between two steps of one life.
    """

    def __init__(self, board: SimBoard, writer: TraceWriter, clear_every: int) -> None:
        """Record into `writer`; every `clear_every` steps the rider requests to clear a fault, never if 0."""
        self._board = board
        self._writer = writer
        self._clear_every = clear_every
        self._seen = Inputs()
        self.met: set[tuple[int, int, int]] = set()

    def begin_life(self, settings: Settings, controller: Controller, now_us: int) -> None:
        """Record that a controller has been switched on."""
        self._controller = controller
        self._seen = Inputs()
        self._seen.crank = self._crank = EveryEdge()
        self._seen.wheel = self._wheel = EveryEdge()
        self._crank_edges: list[tuple[int, int]] = []
        self._wheel_edges: list[tuple[int, int]] = []
        self._now_us = now_us
        self._step_due = False
        self._writer.life(settings, now_us)

    def read(self, inputs: Inputs) -> int:
        """Let the simulated board measure, and copy everything to `inputs`."""
        clear_every = self._clear_every
        self._board.clear_requested = clear_every > 0 and self._writer.steps % clear_every == clear_every - 1
        self._now_us = self._board.read(self._seen)
        for name in Inputs.__slots__:
            if name not in ("crank", "wheel"):
                setattr(inputs, name, getattr(self._seen, name))
        self._crank_edges += self._crank.hand_on(inputs.crank)
        self._wheel_edges += self._wheel.hand_on(inputs.wheel)
        self._step_due = True
        return self._now_us

    def write(self, outputs: Outputs) -> None:
        """Record the step, then let the simulated board apply the outputs."""
        if self._step_due:  # Otherwise it is the loop's first or last write, not a step.
            state = self._controller.engagement.state
            self._writer.step(self._seen, self._now_us, self._crank_edges, self._wheel_edges, outputs, state)
            self.met.add((state, outputs.fault_cause, outputs.indicator))
            self._crank_edges = []
            self._wheel_edges = []
            self._step_due = False
        self._board.write(outputs)

    def feed_watchdog(self) -> None:
        """Forward the call."""
        self._board.feed_watchdog()


class GoldenTrace:
    """A trace on disk. Read: `ride`, `path`, `steps`, `edges`, `lives`, `met` (see Recorder)."""

    def __init__(self, ride: GoldenRide, path: Path) -> None:
        """Ride `ride` on the bench and record it into `path`."""
        self.ride = ride
        self.path = path
        self.lives = 0
        with path.open("wb") as file:
            writer = TraceWriter(file)
            recorder = self._record(writer)
            writer.end()
        self.steps = writer.steps
        self.edges = writer.edges
        self.met = recorder.met

    def _record(self, writer: TraceWriter) -> Recorder:
        """Ride like the bench, with the recorder between the loop and the simulated board."""
        ride = self.ride
        bench = bench_for(ride.bike, ride.seed, ride.clock_at_start_us)
        world = bench.world
        settings = ride.bike.firmware_settings
        script = ride.script()
        agenda = Agenda()
        levers = bench._levers
        board = SimBoard(world, agenda, levers, round(ride.seconds * US_PER_S), ride.seed)
        recorder = Recorder(board, writer, ride.clear_every)
        script.begin(world, board, levers, agenda)
        try:
            while True:
                board.wait_for_power()
                now_us = world.ticks_us(world.now_us)
                controller = Controller(settings, now_us)
                self.lives += 1
                recorder.begin_life(settings, controller, now_us)
                try:
                    run(recorder, controller, Inputs(), LoopCounters(), Heap())
                except Restart:
                    continue
        except RideOver:
            return recorder
