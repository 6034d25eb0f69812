"""From a board with a safe output to the loop, in the fixed order of a start."""

import gc
import sys

from boards.services import MAINTENANCE_FLAG, Collector, Flash
from boards.startable import FORM, StartableBoard
from firmware.controller import Controller
from firmware.link.block_ring import LEAST_BLOCKS
from firmware.link.console import MAINTENANCE
from firmware.link.history import RememberedEdges
from firmware.link.port import Port
from firmware.link.store import Store
from firmware.link.talk import Talk
from firmware.link.writing import BLOCK_SIZE
from firmware.loop import LoopCounters, run
from firmware.records import Inputs

RING_BLOCKS = 144  # 20 s with noise in every reading take 133: tests/unit/test_recorder_density.py.
LEFT_FREE = 70_000  # In bytes; the start itself still needs some of them.
BLOCK_TAKES = 272  # Bytes of memory.

_HINT = "maintenance: no drive, no watchdog. Restart the board to ride.\n"


def stay_in_maintenance(board: StartableBoard, flash: Flash) -> bool:
    """Return whether this start is for a host's tools: the pin is grounded, or the console requested it.

    The console's flag counts once.
    """
    wanted = flash.take_away(MAINTENANCE_FLAG)
    if not wanted and not board.maintenance_wanted():
        return False
    sys.stdout.write(_HINT)
    return True


def ring() -> list[bytearray]:
    """Return the blocks of the recorder: as many as fit into memory, at most RING_BLOCKS."""
    gc.collect()
    free = gc.mem_free() if hasattr(gc, "mem_free") else 0
    count = min(max((free - LEFT_FREE) // BLOCK_TAKES, LEAST_BLOCKS), RING_BLOCKS)
    blocks = []
    for _ in range(count):
        blocks.append(bytearray(BLOCK_SIZE))
    return blocks


def ride(board: StartableBoard, flash: Flash, port: Port, board_name: str) -> None:
    """Start and ride; restart with new settings; return when maintenance is requested.

    The safe-start pin is read once: a start with new settings in the same power-up stays safe.
    """
    safe_start = board.safe_start_wanted()
    store = Store(flash)
    heap = Collector()
    blocks: list[bytearray] = []
    while True:
        settings = store.load(safe_start)
        board.fit(settings)
        if len(blocks) == 0:
            blocks = ring()
        inputs = Inputs()
        edges = RememberedEdges()
        counters = LoopCounters()
        now_us = board.now_us()
        controller = Controller(settings, now_us)
        talk = Talk(port, controller, inputs, edges, counters, store, board_name, FORM, blocks, now_us)
        gc.collect()
        board.attach(inputs)
        board.start_watchdog()
        run(board, controller, inputs, counters, heap, talk)
        if talk.console.ending == MAINTENANCE:
            flash.write(MAINTENANCE_FLAG, b"1")
            return
