"""Rides of a controller whose every step is known, recorded as on a board."""

import random

from firmware.controller import Controller
from firmware.link.history import RememberedEdges, WheelEdges
from firmware.link.recorder import Recorder
from firmware.link.stream import Stream
from firmware.link.writing import BLOCK_SIZE
from firmware.records import Inputs
from host_sim.boardlink.recorded import Block, RecordedEdge, RecordedStep, block_of
from host_sim.rig.rig import WRAP_US, Rig
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


class Ridden:
    """A controller with a recorder and a stream, given random inputs and edges; `steps` is the truth."""

    def __init__(self, seed: int, blocks: int = 40) -> None:
        self.random = random.Random(seed)
        self.now_us = WRAP_US - 2_000_000
        self.inputs = Inputs()
        self.controller = Controller(settings_with(), SmallInt(self.now_us))
        ring = [bytearray(BLOCK_SIZE) for _ in range(blocks)]
        self.recorder = Recorder(self.controller, self.inputs, ring, SmallInt(self.now_us))
        self.stream = Stream(self.recorder.ring)
        crank = RememberedEdges()
        crank.recorder = self.recorder
        self.inputs.crank = crank
        self.inputs.wheel = WheelEdges(self.recorder)
        self.steps: list[RecordedStep] = []
        self.sent: list[bytes] = []
        self.lost_edges = 0

    def step(self, edges: int = 2) -> None:
        """Take a step with random readings that mostly stay, after at most so many edges of each kind."""
        chance, inputs = self.random.random, self.inputs
        gap_us = 5_000 + self.random.randrange(-300, 400)
        if chance() < 0.01:
            gap_us = self.random.choice([-3_000, 0, 1, 127, 128, 16_383, 16_384, 250_000, 2**28])
        taken: list[tuple[int, int, bool]] = []
        for log, wheel in ((inputs.crank, False), (inputs.wheel, True)):
            for _ in range(self.random.randrange(edges + 1)):
                time_us = (self.now_us + self.random.randrange(-900, 20_000)) % WRAP_US
                levels = self.random.randrange(2 if wheel else 4)
                before = log.overruns
                log.record(SmallInt(levels), SmallInt(time_us))
                if log.overruns == before:
                    taken.append((time_us, levels, wheel))
                else:
                    self.lost_edges += 1
        self.now_us = (self.now_us + gap_us) % WRAP_US
        self._read()
        outputs = self.controller.step(inputs, SmallInt(self.now_us))
        self.recorder.note_step(SmallInt(self.now_us))
        self.steps.append(self._truth(taken, outputs))
        inputs.clear_requested = False

    def _read(self) -> None:
        chance, inputs, any_of = self.random.random, self.inputs, self.random.choice
        inputs.sampled_us = SmallInt((self.now_us - (7 if chance() < 0.02 else 0)) % WRAP_US)
        if chance() < 0.7:
            inputs.throttle_mv = SmallInt(any_of([0, 640, 833, 834, 835, 900, 4_100, 5_500]))
        if chance() < 0.3:
            inputs.selector_mv = SmallInt(self.random.randrange(5_501))
        if chance() < 0.5:
            inputs.battery_mv = SmallInt(any_of([0, 36_000, 36_015, 35_985, 100_000]))
        if chance() < 0.8:
            inputs.current_ma = SmallInt(any_of([0, 8, 16, 24, 5_000, 100_000]))
        if chance() < 0.1:
            inputs.motor_decicelsius = SmallInt(any_of([-500, -1, 0, 250, 3_000]))
        if chance() < 0.02:
            inputs.brake_pulled = not inputs.brake_pulled
        inputs.clear_requested = chance() < 0.02

    def _truth(self, taken: list[tuple[int, int, bool]], outputs: object) -> RecordedStep:
        inputs = self.inputs
        edges = tuple((int(time_us), int(levels), wheel) for time_us, levels, wheel in taken)
        return RecordedStep(
            number=len(self.steps),
            now_us=self.now_us,
            sampled_us=int(inputs.sampled_us),
            edges=tuple(RecordedEdge(*edge) for edge in edges),
            throttle_mv=int(inputs.throttle_mv),
            selector_mv=int(inputs.selector_mv),
            battery_mv=int(inputs.battery_mv),
            current_ma=int(inputs.current_ma),
            motor_decicelsius=int(inputs.motor_decicelsius),
            brake_pulled=inputs.brake_pulled,
            clear_requested=inputs.clear_requested,
            lost_edges=self.lost_edges,
            command_mv=int(self.controller.outputs.command_mv),
            drive_enabled=self.controller.outputs.drive_enabled,
            indicator=self.controller.outputs.indicator,
            fault_cause=self.controller.outputs.fault_cause,
            state=self.controller.engagement.state,
        )

    def listen(self, from_oldest: bool = False) -> None:
        self.stream.listen(from_oldest)

    def turns(self, count: int) -> None:
        for _ in range(count):
            if self.stream.make() and self.stream.made():
                self.sent.append(bytes(self.stream.frame))

    def drain(self) -> None:
        while self.recorder.ring.waiting() and self.stream.make():
            if self.stream.made():
                self.sent.append(bytes(self.stream.frame))


class DrivenRide:
    """A rider on the rig who is helped, until the throttle's wire breaks; recorded from the start."""

    def __init__(self, pedalling_ms: int = 2_500, faulted_ms: int = 500) -> None:
        rig = Rig()
        self.controller = rig.controller
        blocks = [bytearray(BLOCK_SIZE) for _ in range(200)]
        self.recorder = Recorder(rig.controller, rig.inputs, blocks, SmallInt(rig.now_us))
        crank = RememberedEdges()
        crank.recorder = self.recorder
        rig.inputs.crank = crank
        rig.inputs.wheel = WheelEdges(self.recorder)
        rig.after_step.append(lambda rig, before_mv: self.recorder.note_step(SmallInt(rig.now_us)))
        rig.release_throttle()
        rig.ready()
        rig.run(pedalling_ms, rpm=60, wheel_mm_per_s=3_000)
        assert rig.command_mv > 0
        rig.run(faulted_ms, throttle_mv=0)
        assert rig.outputs.fault_cause != 0

    def blocks(self) -> list[Block]:
        """Return the complete blocks."""
        ring, found = self.recorder.ring, []
        ring.follow_all()
        while ring.waiting():
            found.append(block_of(bytes(ring.oldest())))
            ring.read()
        return found
