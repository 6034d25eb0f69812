"""All data exchanged between the logic and a board.

The three records are created once, at start; a step only changes their fields. A board (or the
bench) fills an Inputs, the controller returns its own Outputs.
"""

EDGE_LOG_SIZE = 64  # One slot stays empty: 63 edges, 4 steps' worth of the fastest plausible ring.
OUTPUTS_VALID_US = 50_000  # Ten control periods: a board without outputs for so long is safe.

INDICATE_WAITING = 0
INDICATE_READY = 1
INDICATE_DRIVING = 2
INDICATE_FAULT = 3


class EdgeLog:
    """Edges on their way from an interrupt to the step: a ring of (levels, time).

    One writer (`record`) and one reader (`take`); each moves only its own end, so neither needs a
    lock. A full ring keeps its edges, drops the new one and counts it.
    """

    __slots__ = ("_levels", "_read", "_times_us", "_write", "levels", "overruns", "time_us")

    def __init__(self) -> None:
        """Start empty, with no overrun."""
        self._levels = [0] * EDGE_LOG_SIZE
        self._times_us = [0] * EDGE_LOG_SIZE
        self._write = 0
        self._read = 0
        self.overruns = 0
        self.levels = 0
        self.time_us = 0

    def record(self, levels: int, time_us: int) -> None:
        """Append an edge: the levels after it (bit 0 channel A, bit 1 channel B) and its time."""
        place = self._write  # Read once: this runs in an interrupt.
        following = place + 1
        if following == EDGE_LOG_SIZE:
            following = 0
        if following == self._read:
            self.overruns = (self.overruns + 1) & 0xFFFF
            return
        self._levels[place] = levels
        self._times_us[place] = time_us
        self._write = following

    def take(self) -> bool:
        """Move the oldest edge to `levels` and `time_us`; False if there is none."""
        if self._read == self._write:
            return False
        self.levels = self._levels[self._read]
        self.time_us = self._times_us[self._read]
        following = self._read + 1
        self._read = 0 if following == EDGE_LOG_SIZE else following
        return True


class Inputs:
    """What a board measured; voltages are those at the controller's pins.

    `sampled_us` is when the board measured them. `brake_pulled` is also True when the wire of the
    brake switch is broken. `clear_requested` is the rider's or the console's explicit wish to clear
    a fault. `battery_mv` 0 to 100_000, `current_ma` 0 to 100_000 at the battery,
    `motor_decicelsius` -500 to 3000.
    """

    __slots__ = (
        "battery_mv",
        "brake_pulled",
        "clear_requested",
        "crank",
        "current_ma",
        "motor_decicelsius",
        "sampled_us",
        "selector_mv",
        "throttle_mv",
        "wheel",
    )

    def __init__(self) -> None:
        """Start with both logs empty, everything at zero and the brake pulled, which is safe."""
        self.crank = EdgeLog()
        self.wheel = EdgeLog()
        self.sampled_us = 0
        self.throttle_mv = 0
        self.selector_mv = 0
        self.battery_mv = 0
        self.current_ma = 0
        self.motor_decicelsius = 0
        self.brake_pulled = True
        self.clear_requested = False


class Outputs:
    """What a board is to do; after `valid_for_us` it expires, and the board goes to the safe state.

    `command_mv` 0 to 5000; `drive_enabled` is False whenever the command is 0; `fault_cause` as in
    `guard/faults.py`; `indicator` one of the INDICATE_ numbers above.
    """

    __slots__ = ("command_mv", "drive_enabled", "fault_cause", "indicator", "valid_for_us")

    def __init__(self) -> None:
        """Start in the safe state."""
        self.fault_cause = 0
        self.indicator = INDICATE_WAITING
        self.valid_for_us = OUTPUTS_VALID_US
        self.make_safe()

    def make_safe(self) -> None:
        """Set the output to zero and the motor not driven."""
        self.command_mv = 0
        self.drive_enabled = False
