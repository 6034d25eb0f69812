"""The desk: no hardware at all, a simulated rider, and standard input and output as the link.

Expiry: a command that is not renewed within its `valid_for_us` stops driving the simulated motor. There is no
watchdog; a counter replaces it.
"""

import select
import sys
from time import sleep_us, ticks_us

from boards.desk.rider import WIRES, Rider
from boards.startable import StartableBoard
from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from firmware.ticks import TICKS_MAX_US, ticks_diff_us

REST_US = 400  # Between two readings, so that the host has time for other programs.
ALLOWED = (
    "--seconds=N, --hurry, --safe-start, --magnet-missing, --guided, --standing, "
    "--wires=swapped, dead-a or dead-b, --folder=F"
)
HURRIED_US = 200  # With --hurry each reading takes this long on a simulated clock.
READER_MS = 2_000  # With --hurry the desk waits this long for a host that does not read; then it rides on.


class Options:
    """The options of the command line: an attribute for each word, with its name."""

    def __init__(self, words: list[str]) -> None:
        """Read the words after the program's name; ValueError says which one is not understood."""
        self.seconds = 0
        self.hurry = False
        self.safe_start = False
        self.magnet_missing = False
        self.guided = False
        self.standing = False
        self.wires = ""
        self.folder = ""
        for word in words:
            name, _, value = word.partition("=")
            if name == "--hurry":
                self.hurry = True
            elif name == "--safe-start":
                self.safe_start = True
            elif name == "--magnet-missing":
                self.magnet_missing = True
            elif name == "--guided":
                self.guided = True
            elif name == "--standing":
                self.standing = True
            elif name == "--wires" and value in WIRES[1:]:
                self.wires = value
            elif name == "--folder" and value != "":
                self.folder = value + "/"
            elif name == "--seconds" and value.isdigit():
                self.seconds = int(value)
            else:
                raise ValueError(word + " is not understood; allowed are " + ALLOWED)


class DeskBoard(StartableBoard):
    """The adapter. It ends the program after the requested seconds, on its own clock."""

    def __init__(self, options: Options) -> None:
        """Start the clock; `attach` brings the rider."""
        self._options = options
        self._hurried_us = 0
        self._rider: Rider | None = None
        self._inputs = Inputs()
        self._settings = Settings({})
        self._command_mv = 0
        self._written_us = 0
        self._valid_for_us = 0
        self._last_us = self.now_us()
        self._ridden_us = 0
        self._outgoing: select.poll | None = None
        self._reader_ms = READER_MS
        self.watchdog_feeds = 0

    def now_us(self) -> int:
        """Return the time, 0 to TICKS_MAX_US."""
        return (self._hurried_us if self._options.hurry else ticks_us()) & TICKS_MAX_US

    def fit(self, settings: Settings) -> None:
        """Take a bicycle that fits these settings."""
        self._settings = settings

    def attach(self, inputs: Inputs) -> None:
        """Put a rider on the bicycle, whose edges go to `inputs`."""
        self._inputs = inputs
        options = self._options
        self._rider = Rider(
            self._settings,
            options.magnet_missing,
            self.now_us(),
            options.guided,
            options.wires,
            options.standing,
        )

    def keep_step_with(self, outgoing: "select.poll") -> None:
        """With --hurry, stop the simulated clock while the output is full."""
        self._outgoing = outgoing

    def start_watchdog(self) -> None:
        """Do nothing: there is no watchdog."""

    def maintenance_wanted(self) -> bool:
        """There is no pin to ground."""
        return False

    def safe_start_wanted(self) -> bool:
        """Return whether the word that replaces a pin was given."""
        return self._options.safe_start

    def read(self, inputs: Inputs) -> int:
        """Advance the rider and measure; end the program after the requested seconds."""
        if self._options.hurry:
            self._wait_for_the_reader()
            self._hurried_us += HURRIED_US
        else:
            sleep_us(REST_US)
        now_us = self.now_us()
        self._ridden_us += ticks_diff_us(now_us, self._last_us)
        self._last_us = now_us
        if self._options.seconds > 0 and self._ridden_us >= self._options.seconds * 1_000_000:
            sys.exit(0)
        age_us = ticks_diff_us(now_us, self._written_us)
        if age_us < 0 or age_us > self._valid_for_us:
            self._command_mv = 0
        inputs.sampled_us = now_us
        self._measure(inputs, now_us)
        return now_us

    def write(self, outputs: Outputs) -> None:
        """Let the command drive the simulated motor until it expires."""
        self._command_mv = outputs.command_mv if outputs.drive_enabled else 0
        self._written_us = self._last_us
        self._valid_for_us = outputs.valid_for_us

    def feed_watchdog(self) -> None:
        """Count the completed step."""
        self.watchdog_feeds += 1

    def _wait_for_the_reader(self) -> None:
        if self._outgoing is None:
            return
        for _ in self._outgoing.ipoll(self._reader_ms):
            self._reader_ms = READER_MS
            return
        self._reader_ms = 0

    def _measure(self, inputs: Inputs, now_us: int) -> None:
        settings = self._settings
        inputs.throttle_mv = (settings.throttle_open_mv + settings.throttle_rest_mv) // 2
        inputs.selector_mv = settings.selector_high_mv
        inputs.motor_decicelsius = 250
        rider = self._rider
        if rider is None:
            return
        rider.advance(self._inputs, self._command_mv, now_us)
        inputs.brake_pulled = rider.brake_pulled
        inputs.battery_mv = rider.battery_mv
        inputs.current_ma = rider.current_ma
