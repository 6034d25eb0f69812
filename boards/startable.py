"""What a board needs for its start, besides the three methods of the loop."""

from firmware.loop import Board
from firmware.records import Inputs
from firmware.settings import Settings


class StartableBoard(Board):
    """A board that `boards/starting.py` can start. Constructing it puts the output to zero."""

    def now_us(self) -> int:
        """Return the time, 0 to TICKS_MAX_US."""
        raise NotImplementedError

    def maintenance_wanted(self) -> bool:
        """Return whether the maintenance pin is connected to ground."""
        raise NotImplementedError

    def safe_start_wanted(self) -> bool:
        """Return whether the safe-start pin is connected to ground."""
        raise NotImplementedError

    def fit(self, settings: Settings) -> None:
        """Take the settings of this start; only a simulated bicycle needs them."""

    def attach(self, inputs: Inputs) -> None:
        """Send every edge from now on to the logs of `inputs`."""
        raise NotImplementedError

    def start_watchdog(self) -> None:
        """Start the watchdog, once; it can't be stopped."""
        raise NotImplementedError


# Which form of the firmware this board runs; the numbers are in `firmware/link/telemetry.py`. A bundle puts
# its own number here.
FORM = 0
