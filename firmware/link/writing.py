"""The recorder's place in its block, and how a block is opened and closed; see `firmware/link/recorder.py`.

A board that takes machine code gets these functions as viper functions, see `firmware/link/items.py`.
"""

BLOCK_KIND = 100
BLOCK_SIZE = 251
HEADER_SIZE = 15
SEQUENCE_AT = 5
CONTINUED = 1


class Writing:
    """Where the next item goes (`at`), and the values of the last one, from which changes are counted.

    `time_us` is the time of the last step, `edges_open` 1 while the edges of the next are written, `flags`
    the first byte of the step that is being written, `state` what rarely changes, as in the item. `sequence`,
    `step` and `steps` are for the header of the block. Names that begin with `kept` hold values from before
    a step that is written separately.
    """

    __slots__ = (
        "age_us",
        "at",
        "battery_mv",
        "command_mv",
        "current_ma",
        "edges_open",
        "flags",
        "kept_at",
        "kept_open",
        "kept_us",
        "lost",
        "motor_decicelsius",
        "selector_mv",
        "sequence",
        "state",
        "step",
        "steps",
        "throttle_mv",
        "time_us",
    )

    def __init__(self, now_us: int) -> None:
        """Start before the first block; `now_us` is the time that the controller was built with."""
        self.time_us = now_us
        self.edges_open = 0
        self.flags = 0
        self.kept_at = 0
        self.kept_open = 0
        self.kept_us = 0
        self.sequence = 0
        self.step = 0
        self.steps = 0
        self.at = 0
        self.throttle_mv = 0
        self.selector_mv = 0
        self.battery_mv = 0
        self.current_ma = 0
        self.motor_decicelsius = 0
        self.command_mv = 0
        self.state = 0
        self.lost = 0
        self.age_us = 0


def open_block(block: bytearray, writing: Writing) -> None:
    """Begin a block; every change in it starts from 0."""
    block[0] = BLOCK_KIND
    block[1] = 0
    block[4] = writing.edges_open * CONTINUED
    block[SEQUENCE_AT] = writing.sequence & 0xFF
    block[SEQUENCE_AT + 1] = writing.sequence >> 8
    put_fixed(block, 7, writing.step)
    put_fixed(block, 11, writing.time_us)
    writing.at = HEADER_SIZE
    writing.steps = 0
    writing.throttle_mv = 0
    writing.selector_mv = 0
    writing.battery_mv = 0
    writing.current_ma = 0
    writing.motor_decicelsius = 0
    writing.command_mv = 0
    writing.state = 0
    writing.lost = 0
    writing.age_us = 0


def close_block(block: bytearray, writing: Writing) -> None:
    """Complete the header of a block."""
    block[2] = writing.at
    block[3] = writing.steps
    writing.sequence = (writing.sequence + 1) & 0xFFFF


def put_fixed(block: bytearray, start: int, value: int) -> None:
    """Write a number of four bytes, 0 to 2**30 - 1."""
    block[start] = value & 0xFF
    block[start + 1] = value >> 8 & 0xFF
    block[start + 2] = value >> 16 & 0xFF
    block[start + 3] = value >> 24
