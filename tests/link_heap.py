"""Runs under MicroPython: the link's turns between steps, under a heap that is locked."""

# ruff: noqa: T201

import gc
import sys

import micropython

sys.path.insert(0, "")

from firmware.controller import Controller
from firmware.link.history import RememberedEdges
from firmware.link.port import Port
from firmware.link.store import Storage, Store
from firmware.link.talk import Talk
from firmware.loop import LoopCounters
from firmware.records import Inputs
from firmware.settings import Settings


class NoFiles(Storage):
    def read(self, name):
        return b""


class Counting(Port):
    """Counts what is sent; gives `incoming` bytes of a line that never ends."""

    def __init__(self):
        self.sent = 0
        self.zeros = 0
        self.incoming = 0
        self.taken = 0

    def readable(self):
        return self.incoming > 0

    def read_byte(self):
        self.incoming -= 1
        self.taken += 1
        return 65

    def writable(self):
        return True

    def write_byte(self, value):
        self.sent += 1
        if value == 0:
            self.zeros += 1


def main():
    gc.disable()  # One runtime's collector frees what is still in use; see host_sim/runtimes/README.md.
    store = Store(NoFiles())
    settings = store.load()
    inputs = Inputs()
    edges = RememberedEdges()
    counters = LoopCounters()
    controller = Controller(Settings(settings.as_dict()), 0)
    port = Counting()
    talk = Talk(port, controller, inputs, edges, counters, store, "heap", 0)
    while port.sent < len(talk.console.greeting()):
        talk.pump(False, 0)
    port.sent = 0
    port.incoming = 60
    now_us = 0
    edges_taken = 0
    micropython.heap_lock()
    for step in range(400):
        now_us += 5000
        counters.steps = (counters.steps + 1) & 0xFFFF
        edges.record(step & 3, now_us)
        while edges.take():
            edges_taken += 1
        if step & 1:
            edges.record(step & 3, now_us)
            edges.take()
            edges_taken += 1
        for _ in range(20):
            talk.pump(False, now_us)
    # A line while nothing may be answered: the refusal is ready made.
    talk.console.take(10)
    talk.pump(False, now_us)
    micropython.heap_unlock()
    print("frames", port.zeros // 2)
    print("bytes", port.sent)
    print("edges", edges_taken)
    print("bytes in", port.taken)


main()
