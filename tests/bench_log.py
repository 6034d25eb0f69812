"""Logs of rides on the bench, made by the recorder of a board: what a road ride would have left."""

from collections.abc import Callable
from pathlib import Path

from firmware.controller import Controller
from firmware.link.history import RememberedEdges, WheelEdges
from firmware.link.recorder import Recorder
from firmware.link.writing import BLOCK_SIZE
from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.ride import Bench
from host_sim.bench.script import Script
from host_sim.bikes.model import Bike
from host_sim.boardlink.recorded import Block, block_of
from host_sim.replay.log_file import LogWriter, Section

BLOCKS = 10
Around = Callable[[Bench], None]


class RecordedController(Controller):
    """The firmware's controller with a recorder at its side, as on a board; `blocks` are all it wrote."""

    __slots__ = ("_recorder", "blocks", "started_us")

    def __init__(self, settings: Settings, now_us: int) -> None:
        Controller.__init__(self, settings, now_us)
        self.started_us = now_us
        self.blocks: list[Block] = []
        self._recorder: Recorder | None = None

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        if self._recorder is None:
            self._recorder = self._joined(inputs)
        outputs = Controller.step(self, inputs, now_us)
        self._recorder.note_step(now_us)
        self._drain(self._recorder)
        return outputs

    def _drain(self, recorder: Recorder) -> None:
        ring = recorder.ring
        while ring.waiting():
            self.blocks.append(block_of(bytes(ring.oldest())))
            ring.read()

    def end(self) -> None:
        """Complete the block that is being written."""
        if self._recorder is not None:
            self._recorder._close()
            self._drain(self._recorder)

    def _joined(self, inputs: Inputs) -> Recorder:
        recorder = Recorder(self, inputs, [bytearray(BLOCK_SIZE) for _ in range(BLOCKS)], self.started_us)
        recorder.ring.follow_all()
        crank, wheel = RememberedEdges(), WheelEdges(recorder)
        crank.recorder = recorder
        for old, new in ((inputs.crank, crank), (inputs.wheel, wheel)):
            while old.take():
                new.record(old.levels, old.time_us)
        inputs.crank, inputs.wheel = crank, wheel
        return recorder


def ridden_section(
    bike: Bike, script: Script, seconds: float, seed: int = 1, before: Around = lambda bench: None
) -> Section:
    """Ride on the bench and return what the board's recorder wrote; `before` may change the bench."""
    built: list[RecordedController] = []

    def build(settings: Settings, now_us: int) -> Controller:
        built.append(RecordedController(settings, now_us))
        return built[-1]

    bench = bench_for(bike, seed, build=build)
    before(bench)
    bench.ride(script, seconds)
    built[-1].end()
    return Section("paper", "source", bike.firmware_settings.as_dict(), False, built[-1].blocks)


def write_log(path: Path, section: Section) -> Path:
    """Write a section as `treadle watch --record` would."""
    with LogWriter(path, force=True, option="--record") as log:
        log.begin(section.board, section.form, section.settings, section.frozen)
        for block in section.blocks:
            log.write(block)
    return path
