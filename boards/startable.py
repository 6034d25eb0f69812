"""What a start needs of a board, beside the three methods that the loop needs."""

from firmware.loop import Board
from firmware.records import Inputs
from firmware.settings import Settings


class StartableBoard(Board):
    """A board that `boards/starting.py` can start. Constructing it puts the output to zero."""

    def now_us(self) -> int:
        """Return the time, 0 to TICKS_MAX_US."""
        raise NotImplementedError

    def maintenance_wanted(self) -> bool:
        """Tell whether somebody connected the maintenance pin to ground."""
        raise NotImplementedError

    def safe_start_wanted(self) -> bool:
        """Tell whether somebody connected the safe-start pin to ground."""
        raise NotImplementedError

    def fit(self, settings: Settings) -> None:
        """Learn which settings this start has; only a simulated bicycle needs to."""

    def attach(self, inputs: Inputs) -> None:
        """Send every edge from now on to the logs of `inputs`."""
        raise NotImplementedError

    def start_watchdog(self) -> None:
        """Start the watchdog, once; nothing stops it any more."""
        raise NotImplementedError


# Which form of the firmware this board runs; the numbers are in `firmware/link/telemetry.py`. A bundle puts
# its own number here.
FORM = 0
