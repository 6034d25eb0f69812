"""Whether the motor helps, and why: one total table of states and events.

One event per step, the most urgent that holds. Any start takes two independent actions: power-up
begins in WAITING, which ends only when crank and throttle are at rest; then the pedals or the
throttle act. The diagram in DEVELOPERS.md is drawn from this table.
"""

# States.
WAITING = 0  # Since power-up or a cleared fault, the controls have not been at rest.
READY = 1
ASSISTING = 2  # Driving because the crank turns forward.
THROTTLING = 3  # Driving because of the throttle alone.
BRAKED = 4
FAULTED = 5
STATE_NAMES: tuple[str, ...] = ("waiting", "ready", "assisting", "throttling", "braked", "faulted")

# Events, the most urgent first.
FAULT = 0
BRAKE = 1
BACKWARD = 2
PEDALLING = 3
THROTTLE_ALONE = 4  # The throttle is open and may drive; the crank gives no reason to drive.
REST = 5
STOPPED = 6
SLOW = 7
THROTTLE = 8  # The throttle is open and may drive; the crank turns between its two thresholds.
NOTHING = 9
EVENT_NAMES: tuple[str, ...] = (
    "fault",
    "brake",
    "backward",
    "pedalling",
    "throttle alone",
    "rest",
    "stopped",
    "slow",
    "throttle",
    "nothing",
)

TRANSITIONS: tuple[tuple[int, ...], ...] = (
    # FAULT    BRAKE    BACKWARD PEDALLING  T. ALONE    REST     STOPPED  SLOW     THROTTLE    NOTHING
    (FAULTED, WAITING, WAITING, WAITING, WAITING, READY, WAITING, WAITING, WAITING, WAITING),  # WAITING
    (FAULTED, BRAKED, READY, ASSISTING, THROTTLING, READY, READY, READY, THROTTLING, READY),  # READY
    (FAULTED, BRAKED, READY, ASSISTING, THROTTLING, READY, READY, READY, ASSISTING, ASSISTING),  # ASSISTING
    (FAULTED, BRAKED, READY, ASSISTING, THROTTLING, READY, READY, READY, THROTTLING, READY),  # THROTTLING
    (FAULTED, BRAKED, READY, READY, READY, READY, READY, READY, READY, READY),  # BRAKED
    (FAULTED, WAITING, WAITING, WAITING, WAITING, WAITING, WAITING, WAITING, WAITING, WAITING),  # FAULTED
)
"""TRANSITIONS[state][event] is the next state."""


class Engagement:
    """The present state. Read: `state`, `event` (the last one taken)."""

    __slots__ = ("event", "state")

    def __init__(self) -> None:
        """Start in WAITING."""
        self.state = WAITING
        self.event = NOTHING

    def step(self, event: int) -> int:
        """Take this step's event (0 to 9) and return the new state."""
        self.event = event
        self.state = TRANSITIONS[self.state][event]
        return self.state

    def driving(self) -> bool:
        """Tell whether the state lets the motor run."""
        return self.state == ASSISTING or self.state == THROTTLING
