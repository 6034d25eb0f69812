"""Lemmas about the ring between interrupt and step: each end at every position, from empty to full."""

from firmware.records import EDGE_LOG_SIZE, EdgeLog, Outputs
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Numbers

WAITING = (0, 1, 2, 31, 62, 63)


def edge_log_record(ex: Numbers) -> None:
    """An edge goes to the end of the ring only; a full ring drops it and counts it."""
    count = 0
    for read in range(EDGE_LOG_SIZE):
        for waiting in WAITING:
            write = (read + waiting) % EDGE_LOG_SIZE
            log = _ring(read, write)
            overruns = log.overruns = (0, 9, 0xFFFF)[(read + write) % 3]
            log.record(7, 5_000_000)
            inner = Inside(log)
            is_full = waiting == EDGE_LOG_SIZE - 1
            ex.check(inner.read == read, "recording leaves the other end alone")
            ex.check(
                inner.write == (write if is_full else (write + 1) % EDGE_LOG_SIZE),
                "the end moves by one",
            )
            ex.check(
                log.overruns == (overruns + is_full) % 0x10000, "what is dropped is counted, modulo 65536"
            )
            for place in range(EDGE_LOG_SIZE):
                is_new = place == write and not is_full
                ex.check(
                    inner.levels[place] == (7 if is_new else place % 4),
                    "levels are kept at their place",
                )
                ex.check(inner.times_us[place] == (5_000_000 if is_new else place), "and times beside them")
            count += 1
    ex.outcome(count=count)


def edge_log_take(ex: Numbers) -> None:
    """The oldest edge is returned with its time; an empty ring returns nothing."""
    count = 0
    for read in range(EDGE_LOG_SIZE):
        for waiting in WAITING:
            write = (read + waiting) % EDGE_LOG_SIZE
            log = _ring(read, write)
            taken = log.take()
            inner = Inside(log)
            ex.check(taken == (waiting > 0), "an empty ring gives no edge")
            ex.check(inner.write == write, "taking leaves the other end alone")
            ex.check(inner.read == ((read + 1) % EDGE_LOG_SIZE if taken else read), "the end moves by one")
            if taken:
                ex.check(log.levels == read % 4 and log.time_us == read, "the oldest edge comes out")
            count += 1
    ex.outcome(count=count)


def records_start(ex: Numbers) -> None:
    """A new ring is empty; new outputs, and outputs made safe, drive nothing."""
    log = EdgeLog()
    ex.check(not log.take(), "a new ring is empty")
    ex.check((log.overruns, log.levels, log.time_us) == (0, 0, 0), "and knows of no edge")
    outputs = Outputs()
    outputs.command_mv = 1
    outputs.drive_enabled = True
    outputs.make_safe()
    ex.check(outputs.command_mv == 0 and not outputs.drive_enabled, "safe outputs drive nothing")
    ex.outcome(command=outputs.command_mv)


def _ring(read: int, write: int) -> EdgeLog:
    log = EdgeLog()
    inner = Inside(log)
    for place in range(EDGE_LOG_SIZE):
        inner.levels[place] = place % 4
        inner.times_us[place] = place
    inner.read = read
    inner.write = write
    return log
