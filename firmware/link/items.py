"""Writes items into a block of the recorder; the layout is that of `firmware/link/recorder.py`.

These functions run in every step and for every edge. Where a board takes machine code they become viper
functions (`host_sim/forms/viper/by_the_byte.py`), so they use numbers, bytes and attributes only.
"""

from firmware.controller import Controller
from firmware.link.writing import BLOCK_SIZE, Writing
from firmware.records import Inputs
from firmware.ticks import TICKS_MAX_US

EDGE_LEAD_US = 1_024
NO_PLACE = -1

STEP = 1
THROTTLE_CHANGED = 2
SELECTOR_CHANGED = 4
BATTERY_CHANGED = 8
CURRENT_CHANGED = 16
TEMPERATURE_CHANGED = 32
COMMAND_CHANGED = 64
STATE_CHANGED = 128
WHEEL_EDGE = 8

AN_EDGE_FITS = BLOCK_SIZE - 5  # The largest size of an edge, and of a step.
STEP_SIZE = 1 + 4 + 6 * 4 + 2 + 2 * 4
LIKELY_SIZE = 12
A_STEP_FITS = BLOCK_SIZE - STEP_SIZE
_COUNT_MASK = (1 << 30) - 1


def put_edge(block: bytearray, writing: Writing, kind: int, time_us: int) -> int:
    """Write an edge; return NO_PLACE if it does not fit into the block, else 0."""
    at = writing.at
    if at > AN_EDGE_FITS:
        return NO_PLACE
    block[at] = kind
    from_us = (writing.time_us - EDGE_LEAD_US) & TICKS_MAX_US
    writing.at = put_number(block, at + 1, (time_us - from_us) & TICKS_MAX_US)
    writing.edges_open = 1
    return 0


def put_step(block: bytearray, writing: Writing, controller: Controller, inputs: Inputs, now_us: int) -> int:
    """Write a step: its time, and what changed since the last one.

    Return the cause of a fault, or NO_PLACE if it does not fit into the block.
    """
    flags_at = writing.at
    if flags_at > A_STEP_FITS:
        return NO_PLACE
    writing.at = put_number(block, flags_at + 1, (now_us - writing.time_us) & TICKS_MAX_US)
    writing.time_us = now_us
    writing.flags = STEP
    put_levers(block, writing, inputs)
    put_power(block, writing, controller, inputs)
    put_state(block, writing, controller, inputs)
    block[flags_at] = writing.flags
    writing.edges_open = 0
    writing.step = (writing.step + 1) & _COUNT_MASK
    writing.steps += 1
    return controller.outputs.fault_cause


def begin_apart(writing: Writing) -> int:
    """Write the next step to the start of a separate buffer, since it may be too long for the block.

    Return NO_PLACE, and change nothing, if it most likely is too long, else 0.
    """
    if writing.at > BLOCK_SIZE - LIKELY_SIZE:
        return NO_PLACE
    writing.kept_at = writing.at
    writing.kept_open = writing.edges_open
    writing.kept_us = writing.time_us
    writing.at = 0
    return 0


def join(block: bytearray, apart: bytearray, writing: Writing) -> int:
    """Append the step written separately; if it is too long, discard it and return NO_PLACE, else 0."""
    size = writing.at
    writing.at = writing.kept_at
    if writing.kept_at + size > BLOCK_SIZE:
        writing.edges_open = writing.kept_open
        writing.time_us = writing.kept_us
        writing.step = (writing.step - 1) & _COUNT_MASK
        writing.steps -= 1
        return NO_PLACE
    at = writing.kept_at
    for place in range(size):
        block[at] = apart[place]
        at += 1
    writing.at = at
    return 0


def put_levers(block: bytearray, writing: Writing, inputs: Inputs) -> None:
    """Write the changes of both levers, and note their bits."""
    change = inputs.throttle_mv - writing.throttle_mv
    if change != 0:
        writing.flags |= THROTTLE_CHANGED
        writing.at = put_change(block, writing.at, change)
        writing.throttle_mv += change
    change = inputs.selector_mv - writing.selector_mv
    if change != 0:
        writing.flags |= SELECTOR_CHANGED
        writing.at = put_change(block, writing.at, change)
        writing.selector_mv += change


def put_power(block: bytearray, writing: Writing, controller: Controller, inputs: Inputs) -> None:
    """Write the changes of battery, current, temperature and command, and note their bits."""
    change = inputs.battery_mv - writing.battery_mv
    if change != 0:
        writing.flags |= BATTERY_CHANGED
        writing.at = put_change(block, writing.at, change)
        writing.battery_mv += change
    change = inputs.current_ma - writing.current_ma
    if change != 0:
        writing.flags |= CURRENT_CHANGED
        writing.at = put_change(block, writing.at, change)
        writing.current_ma += change
    change = inputs.motor_decicelsius - writing.motor_decicelsius
    if change != 0:
        writing.flags |= TEMPERATURE_CHANGED
        writing.at = put_change(block, writing.at, change)
        writing.motor_decicelsius += change
    change = controller.outputs.command_mv - writing.command_mv
    if change != 0:
        writing.flags |= COMMAND_CHANGED
        writing.at = put_change(block, writing.at, change)
        writing.command_mv += change


def put_state(block: bytearray, writing: Writing, controller: Controller, inputs: Inputs) -> None:
    """Write all that rarely changes, if any of it did, and note its bit."""
    state = controller.outputs.indicator << 3 | controller.engagement.state << 5
    state |= controller.outputs.fault_cause << 8
    if inputs.brake_pulled:
        state |= 1
    if inputs.clear_requested:
        state |= 2
    if controller.outputs.drive_enabled:
        state |= 4
    lost = inputs.crank.overruns + inputs.wheel.overruns
    age_us = (writing.time_us - inputs.sampled_us) & TICKS_MAX_US
    if state != writing.state or lost != writing.lost or age_us != writing.age_us:
        writing.flags |= STATE_CHANGED
        writing.state = state
        writing.lost = lost
        writing.age_us = age_us
        block[writing.at] = state & 0xFF
        block[writing.at + 1] = state >> 8
        writing.at = put_number(block, writing.at + 2, lost)
        writing.at = put_number(block, writing.at, age_us)


def put_change(block: bytearray, start: int, value: int) -> int:
    """Write a change: twice its size, less one if it is negative; return the place after it."""
    if value < 0:
        value = 0 - value - value - 1
    else:
        value += value
    return put_number(block, start, value)


def put_number(block: bytearray, start: int, value: int) -> int:
    """Write a number of varying size, 0 to 2**30 - 1; return the place after it."""
    if value >= 0x80:
        block[start] = value & 0x7F | 0x80
        start += 1
        value >>= 7
        if value >= 0x80:
            block[start] = value & 0x7F | 0x80
            block[start + 1] = value >> 7 & 0xFF
            start += 2
            value >>= 15
    block[start] = value
    return start + 1
