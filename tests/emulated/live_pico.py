"""An emulated Pico behind a pseudo-terminal, wired to the bench's bicycle: a port for the commands.

    with LivePico(bike, folder) as pico:
        subprocess.run([sys.executable, IN_ITS_TIME, pico.clock, "watch", "--port", pico.port, …])

In turn the bench's plant moves by 5 ms, and the emulated chip runs for as long with the edges and voltages
that came of it. The chip is three times slower than the wall clock, and more on a busy computer. Where
it would be quicker it waits. The file `clock` has its seconds; `in_emulated_time.py` runs a command by
them.
Unlike USB, the port does not vanish when the board restarts.
"""

import contextlib
import json
import mmap
import os
import queue
import struct
import subprocess
import threading
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass, field
from math import pi
from pathlib import Path
from typing import Any

from firmware.ticks import ticks_diff_us
from host_sim.bench.assemble import bench_for
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.plant.bicycle import Bicycle
from host_sim.plant.rider import FOLLOW, HOLD
from tests.emulated.courses import BRAKE, CRANK_A, CRANK_B, WHEEL
from tests.emulated.pico import BOOTROM, CYCLES_A_MISS, HERE, IMAGE, emulator_folder, why_missing

IN_ITS_TIME = str(HERE / "in_emulated_time.py")
SLICE_US = 5_000
MAGNET_SHARE = 0.05  # Of the way from one wheel pulse to the next, in which the switch is closed.
NTC_AT_25_CELSIUS = 2158
PIECE = 4_096
PATIENCE_S = 600.0


@dataclass(slots=True)
class Levers:
    """What hands do at the bicycle, as voltages at the board's dividers; a lever unplugged gives 0 V."""

    throttle_v: float
    selector_v: float
    load_a: float = 0.0  # A lamp behind the shunt.


@dataclass(slots=True)
class Board:
    """What is seen of the board from outside; `now_us` is the emulated time."""

    now_us: int = 0
    command_mv: float = 0.0
    enable: int = 0
    restarts: int = 0
    held: bool = False
    switches: list[tuple[int, int]] = field(default_factory=list)  # Time and level of drive enable.


class LivePico:
    """Use it in a `with`; `port` is the name for `--port`. Hands and legs are the methods in the middle."""

    def __init__(self, bike: Bike, folder: Path, uf2: Path | None = None) -> None:
        """Take the bicycle, a folder for what is written on the way, and a file system or an empty one."""
        assert not why_missing()
        self._job = {
            "image": str(Path(os.environ[IMAGE]).resolve()),
            "bootrom": str(Path(os.environ[BOOTROM]).resolve()),
            "uf2": None if uf2 is None else str(uf2.resolve()),
            "miss": CYCLES_A_MISS,
        }
        self._folder = folder
        self.clock = folder / "clock"
        self.clock.write_bytes(bytes(8))
        with self.clock.open("r+b") as file:
            self._clock = mmap.mmap(file.fileno(), 8)
        self._bike = bike
        self.world: World = bench_for(bike, 1, 0).world
        self.levers = Levers(bike.throttle.rest_v if bike.throttle.fitted else 0.0, bike.selector.high_v)
        self.board = Board()
        self._edges: list[tuple[int, int, int]] = []
        self._levels = self.world.pedal_sensor.levels
        self._brake_level = 0
        self._goal_rad: float | None = None
        self._restart = False
        self._todo: queue.Queue[Callable[[], None]] = queue.Queue()
        self._over = threading.Event()
        self._failed: BaseException | None = None
        self.world.watch_edges(self)

    def __enter__(self) -> "LivePico":
        """Power the board up."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.port = os.ttyname(self._slave)
        job = self._folder / "live.json"
        job.write_text(json.dumps(self._job))
        self._node = subprocess.Popen(
            ["node", "live.mjs", str(job)],
            cwd=emulator_folder("live.mjs"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Switch it off."""
        self._over.set()
        self._thread.join(PATIENCE_S)
        self._node.kill()
        self._node.wait()
        os.close(self._master)
        os.close(self._slave)

    # What hands and legs do.

    def do(self, deed: Callable[[], None]) -> None:
        """Have something done between two slices, and wait until it is."""
        done = threading.Event()

        def deed_and_sign() -> None:
            deed()
            done.set()

        self._todo.put(deed_and_sign)
        while not done.wait(0.2):
            self._check()

    def pedal(self, rpm: float, watts: float = 80.0, development_m: float = 4.0) -> None:
        """Pedal at a cadence, as hard as it takes to hold it."""
        self.do(lambda: self._legs(HOLD, rpm, watts, development_m, None))

    def turn(self, turns: float, rpm: float) -> None:
        """Turn the crank by hand for so many turns, backward if `turns` is negative; return at the end."""
        sign = 1.0 if turns >= 0.0 else -1.0

        def begin() -> None:
            goal_rad = self.world.rider.crank_rad + turns * 2.0 * pi
            self._legs(FOLLOW, sign * rpm, 0.0, 0.0, goal_rad)

        self.do(begin)
        self.until(lambda: self._goal_rad is None, "the crank has turned")

    def rest(self) -> None:
        """Stop pedalling."""
        self.do(lambda: self._legs(HOLD, 0.0, 0.0, 4.0, None))

    def brake(self, share: float) -> None:
        """Pull the brake, or let it go with 0."""
        self.do(lambda: self.world.pull_brake(share))

    def stop(self) -> None:
        """Brake until the wheel stands, and let go."""
        self.rest()
        self.brake(1.0)
        self.until(lambda: self.world.bicycle.speed_m_per_s == 0.0, "the wheel stands")
        self.wait(0.3)
        self.brake(0.0)

    def lift(self) -> None:
        """Put the bicycle on a stand: the driven wheel turns freely."""
        around_m = self._bike.bicycle.wheel_circumference_m
        self._replace(Bicycle(10.0, 0.05, 0.03, around_m, 0.1, 4.0))

    def unlift(self) -> None:
        """Put it on the road, with the rider on it."""
        self._replace(bench_for(self._bike, 1, 0).world.bicycle)

    def _replace(self, bicycle: Bicycle) -> None:
        """Go on with another bicycle; its wheel stands where the last one stood, for the sensor's sake."""
        bicycle.distance_m = self.world.bicycle.distance_m
        self.world.bicycle = bicycle

    def restart(self) -> None:
        """Switch the board's supply off and on."""
        before = self.board.restarts

        def off_and_on() -> None:
            self._restart = True

        self.do(off_and_on)
        self.until(lambda: self.board.restarts > before, "the board restarts")

    def hold(self, held: bool) -> None:
        """Hold the board in reset, or let it start."""

        def change() -> None:
            self.board.held = held
            self._restart = True

        self.do(change)
        self.wait(0.1)

    def wait(self, seconds: float) -> None:
        """Wait for so long on the emulated clock."""
        end_us = self.board.now_us + seconds * 1e6
        self.until(lambda: self.board.now_us >= end_us, "time passes")

    def until(self, true: Callable[[], bool], what: str) -> None:
        """Wait for something to be so."""
        end_s = time.monotonic() + PATIENCE_S
        while not true():
            self._check()
            if time.monotonic() > end_s:
                raise TimeoutError(what)
            time.sleep(0.02)

    def edge(self, time_us: int, levels: int) -> None:
        """Note an edge of the crank: the plant calls this."""
        for pin, bit in ((CRANK_A, 1), (CRANK_B, 2)):
            if (levels ^ self._levels) & bit:
                self._edges.append((time_us, pin, 1 if levels & bit else 0))
        self._levels = levels

    # The thread that runs plant and chip in turn.

    def _check(self) -> None:
        if self._failed is not None:
            raise RuntimeError("the emulated Pico has ended") from self._failed

    def _legs(self, mode: int, rpm: float, watts: float, development_m: float, goal: float | None) -> None:
        rider = self.world.rider
        rider.mode, rider.power_w, rider.development_m = mode, watts, development_m
        rider.target_rad_per_s = rpm * 2.0 * pi / 60.0
        self._goal_rad = goal

    def _run(self) -> None:
        began_s = time.monotonic()
        try:
            self._pin_levels_at_start()
            while not self._over.is_set():
                while not self._todo.empty():
                    self._todo.get()()
                self._slice()
                ahead_s = self.board.now_us * 1e-6 - (time.monotonic() - began_s)
                if ahead_s > 0.0:
                    time.sleep(ahead_s)
                else:
                    began_s -= ahead_s  # What was slower than the wall clock is not caught up.
        except BaseException as error:
            self._failed = error

    def _pin_levels_at_start(self) -> None:
        levels = self._levels
        self._edges += [(0, CRANK_A, levels & 1), (0, CRANK_B, levels >> 1 & 1), (0, WHEEL, 1)]

    def _slice(self) -> None:
        """Move the plant on, then the chip."""
        world = self.world
        start_us, until_us = world.now_us, world.now_us + SLICE_US
        world.command_v = self.board.command_mv * 1e-3
        world.command_until_us = until_us
        world.advance(until_us)
        self._reach_goal()
        self._roll_wheel(start_us, until_us)
        pulled = 1 if world.brake_share > 0.0 and self._bike.brakes.switches != "none" else 0
        if pulled != self._brake_level:
            self._brake_level = pulled
            self._edges.append((start_us, BRAKE, pulled))
        due = sorted(edge for edge in self._edges if edge[0] < until_us)
        self._edges = [edge for edge in self._edges if edge[0] >= until_us]
        self._exchange(
            {
                "until_us": until_us,
                "edges": due,
                "analog": self._analog(),
                "typed": self._typed().hex(),
                "restart": self._restart,
                "held": self.board.held,
            }
        )

    def _exchange(self, slice_of_time: dict[str, Any]) -> None:
        assert self._node.stdin is not None
        assert self._node.stdout is not None
        self._restart = False
        self._node.stdin.write(json.dumps(slice_of_time).encode() + b"\n")
        self._node.stdin.flush()
        answer = json.loads(self._node.stdout.readline())
        board = self.board
        board.command_mv, board.restarts = answer["command_mv"], answer["restarts"]
        if answer["enable"] != board.enable:
            board.switches.append((slice_of_time["until_us"], answer["enable"]))
        board.enable = answer["enable"]
        board.now_us = slice_of_time["until_us"]
        self._clock[:8] = struct.pack("d", board.now_us * 1e-6)
        said = bytes.fromhex(answer["serial"])
        if said:
            # A host drops what comes while nobody has the port open.
            with contextlib.suppress(BlockingIOError):
                os.write(self._master, said)

    def _typed(self) -> bytes:
        try:
            return os.read(self._master, PIECE)
        except BlockingIOError:
            return b""

    def _analog(self) -> dict[str, float]:
        current_a = self.world.motor.battery_current_a + self.levers.load_a
        sag_v = self.levers.load_a * self._bike.battery.resistance_ohm
        return {
            "throttle_mv": self.levers.throttle_v * 1e3,
            "selector_mv": self.levers.selector_v * 1e3,
            "battery_mv": (self.world.battery.voltage_v - sag_v) * 1e3,
            "current_ma": current_a * 1e3,
            "ntc_raw": NTC_AT_25_CELSIUS,
        }

    def _reach_goal(self) -> None:
        rider, goal_rad = self.world.rider, self._goal_rad
        if goal_rad is None:
            return
        if (rider.crank_rad - goal_rad) * (1.0 if rider.target_rad_per_s > 0.0 else -1.0) >= 0.0:
            self._legs(FOLLOW, 0.0, 0.0, 0.0, None)

    def _roll_wheel(self, start_us: int, until_us: int) -> None:
        """Turn the wheel's pulses into edges of a switch that a magnet closes for a moment."""
        world, log = self.world, self.world.wheel_log
        spacing_m = self._bike.bicycle.wheel_circumference_m / self._bike.wheel_sensor.pulses_per_rev
        closed_us = int(MAGNET_SHARE * spacing_m / max(world.bicycle.speed_m_per_s, 0.1) * 1e6)
        while log.take():
            at_us = until_us + ticks_diff_us(log.time_us, world.ticks_us(until_us))
            self._edges += [(max(at_us, start_us), WHEEL, 0), (at_us + closed_us, WHEEL, 1)]
