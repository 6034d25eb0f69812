"""Runs under MicroPython: the link's turns between steps, under a heap that is locked."""

# ruff: noqa: T201

import gc
import sys

import micropython

sys.path.insert(0, "")

from firmware.controller import Controller
from firmware.link.block_ring import LEAST_BLOCKS
from firmware.link.history import RememberedEdges
from firmware.link.port import Port
from firmware.link.store import Storage, Store
from firmware.link.talk import Talk
from firmware.link.writing import BLOCK_SIZE
from firmware.loop import LoopCounters
from firmware.records import Inputs
from firmware.settings import Settings


class NoFiles(Storage):
    def read(self, name):
        return b""


class Counting(Port):
    """Counts what is sent, of which it takes some bytes at a time; gives `incoming` bytes."""

    def __init__(self):
        self.sent = 0
        self.units = 0
        self.takes = 64
        self.incoming = b""
        self.taken = 0

    def read(self, into, start, end):
        for at in range(start, end):
            if self.taken == len(self.incoming):
                return at - start
            into[at] = self.incoming[self.taken]
            self.taken += 1
            if into[at] == 10:
                return at + 1 - start
        return end - start

    def write(self, unit, start, end):
        taken = min(end - start, self.takes)
        self.sent += taken
        if start + taken == len(unit):
            self.units += 1
        return taken


def main():
    gc.disable()  # One runtime's collector frees what is still in use; see tests/runtime/README.md.
    store = Store(NoFiles())
    settings = store.load()
    inputs = Inputs()
    edges = RememberedEdges()
    counters = LoopCounters()
    controller = Controller(Settings(settings.as_dict()), 0)
    port = Counting()
    blocks = [bytearray(BLOCK_SIZE) for _ in range(LEAST_BLOCKS)]
    talk = Talk(port, controller, inputs, edges, counters, store, "heap", 1, blocks, 0)
    while port.units == 0:
        talk.pump(False, 0)
    port.units = port.sent = 0
    now_us = 0
    edges_taken = 0
    asked = (
        b'{"request": "about"}\n{"request": "settings"}\n{"request": "edges"}\n{"request": "stream"}\n'
        + b"A" * 60
        + b"\n"
    )
    micropython.heap_lock()
    for step in range(400):
        if step == 200:
            port.incoming = asked  # What is ready, what has to wait for a rest, and no request at all.
        if step == 300:
            port.takes = 7
        now_us += 5000
        counters.steps = (counters.steps + 1) & 0xFFFF
        edges.record(step & 3, now_us)
        while edges.take():
            edges_taken += 1
        if step & 1:
            edges.record(step & 3, now_us)
            edges.take()
            edges_taken += 1
        inputs.wheel.record(step & 1, now_us)
        inputs.wheel.take()
        inputs.throttle_mv = step * 7
        inputs.current_ma = step * 300
        talk.note_step(now_us)
        if step == 350:
            talk.recorder.freeze()
        for _ in range(20):
            talk.pump(False, now_us)
    # The clock of the board goes back, and an answer that has to wait for a rest is broken off.
    talk.pump(False, 5)
    talk.console._request = "edges"
    talk.console.replying = True
    for _ in range(30):
        talk.pump(False, 5)
    micropython.heap_unlock()
    print("blocks lost", talk.recorder.ring.lost, "frozen", talk.recorder.ring.frozen)
    print("units", port.units)
    print("bytes", port.sent)
    print("edges", edges_taken)
    print("bytes in", port.taken)


main()
