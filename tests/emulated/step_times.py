"""main.py for the emulated Pico: times whole steps of the controller, without a board, and prints them."""

import gc
from time import ticks_diff, ticks_us

from boards.services import Flash
from firmware.controller import Controller
from firmware.link.history import RememberedEdges
from firmware.link.store import Store
from firmware.records import Inputs


class Bench:
    """One controller under fixed inputs. Every form must come to the same digest."""

    def __init__(self):
        """Start it with the settings of the bundle."""
        self.now_us = 1000
        self.controller = Controller(Store(Flash("")).load(), self.now_us)
        self.inputs = inputs = Inputs()
        inputs.crank = RememberedEdges()
        inputs.throttle_mv = 850
        inputs.selector_mv = 4199
        inputs.battery_mv = 39000
        inputs.motor_decicelsius = 200
        inputs.brake_pulled = False
        self.digest = 0
        self.crank_place = 0
        self.wheel_place = 0

    def go(self, name, steps, step_us, crank_us, wheel_us):
        """Take steps with an edge every so many microseconds; print how long steps took."""
        inputs, controller = self.inputs, self.controller
        crank_at, wheel_at = self.now_us + 1000, self.now_us + 2000
        quiet, busy = [], []
        for _ in range(steps):
            self.now_us += step_us
            edges = 0
            while crank_us and crank_at <= self.now_us:
                inputs.crank.record((1, 3, 2, 0)[self.crank_place & 3], crank_at)
                self.crank_place += 1
                crank_at += crank_us
                edges += 1
            while wheel_us and wheel_at <= self.now_us:
                inputs.wheel.record(self.wheel_place & 1, wheel_at)
                self.wheel_place += 1
                wheel_at += wheel_us
                edges += 1
            inputs.sampled_us = self.now_us
            command_mv = controller.outputs.command_mv
            inputs.current_ma = 0 if command_mv < 1100 else (command_mv - 1100) * 3
            began_us = ticks_us()
            outputs = controller.step(inputs, self.now_us)
            took_us = ticks_diff(ticks_us(), began_us)
            (busy if edges else quiet).append(took_us)
            told = outputs.command_mv + controller.engagement.state * 7 + outputs.fault_cause * 3
            self.digest = (self.digest * 31 + told + controller.pedalling.cadence_rpm) & 0xFFFFFF
        quiet.sort()
        busy.sort()
        middles = [times[len(times) // 2] if times else 0 for times in (quiet, busy)]
        print("steps", name, middles[0], middles[1], max(quiet + busy))  # noqa: T201


bench = Bench()
gc.collect()
bench.go("waiting", 45, 40000, 0, 0)
bench.go("rest", 12, 5000, 0, 0)
bench.go("start", 44, 5000, 25000, 39000)
bench.go("driving", 60, 5000, 25000, 39000)
bench.go("fast", 30, 5000, 5200, 19000)
bench.go("noise", 12, 5000, 1000, 0)
bench.go("stop", 16, 5000, 0, 39000)
print("digest", bench.digest)  # noqa: T201
print("done")  # noqa: T201
