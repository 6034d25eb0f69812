"""The whole job of the tutorial on the emulated Pico: the same commands, with `--port` instead of `--desk`.

    TREADLE_PICO_IMAGE=… TREADLE_PICO_BOOTROM=… uv run python -m tests.emulated.whole_job FOLDER

walks a new 48 V bicycle with throttle and selector from `new` to `handover` in the new folder FOLDER, and
prints what the commands say. The emulated chip is slower than a real one: it takes ten minutes or more. The
limits of time in the commands are what they always are, counted in the seconds of the board.
"""

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from host_sim.bikes.load import load_bike
from host_sim.commissioning.calibration import WHEEL_TURNS
from tests.emulated.live_pico import IN_ITS_TIME, LivePico
from tests.emulated.pico import why_missing

PATIENCE_S = 600.0
START_S = 1.5  # Emulated: from power-up to the first step 0.9 s.
BIKE = "longtail.toml"
NEW = (
    *("new", "longtail", "--volts", "48", "--watts", "750", "--sensor", "two-channel", "--pulses", "12"),
    *("--place", "us_class_2", "--brakes", "all", "--throttle", "yes", "--selector", "potentiometer"),
)
AROUND_M = 2.14
LOAD_A = 4.0


class Command:
    """A command of treadle under way; whoever walks reads what it says, and answers."""

    def __init__(
        self, folder: Path, words: tuple[str, ...], say: Callable[[str], None], clock: Path | None
    ) -> None:
        """Start it in `folder`; what talks to the board goes by the board's clock."""
        program = [str(Path(sys.executable).with_name("treadle"))]
        if clock is not None and "--port" in words:
            program = [sys.executable, IN_ITS_TIME, str(clock)]
        self.words = words
        self.said = ""
        self._at = 0
        self._say = say
        say(f"$ treadle {' '.join(words)}\n")
        self._process = subprocess.Popen(
            [*program, *words],
            cwd=folder,
            env={**os.environ, "COLUMNS": "100", "PYTHONUNBUFFERED": "1"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        assert self._process.stdout is not None
        os.set_blocking(self._process.stdout.fileno(), False)

    def until(self, text: str) -> None:
        """Read until `text` was said, after what was waited for before."""
        end_s = time.monotonic() + PATIENCE_S
        while (found := self.said.find(text, self._at)) < 0:
            if not self._read() and self._process.poll() is not None and not self._read():
                raise AssertionError(f"{self.words}: ended without {text!r}\n{self.said[-2000:]}")
            if time.monotonic() > end_s:
                raise AssertionError(f"{self.words}: did not say {text!r}\n{self.said[-2000:]}")
        self._at = found + len(text)

    def answer(self, line: str) -> None:
        """Type a line."""
        assert self._process.stdin is not None
        self._say(f"«{line}»\n")
        self._process.stdin.write(line.encode() + b"\n")
        self._process.stdin.flush()

    def interrupt(self) -> None:
        """Press Ctrl-C."""
        self._process.send_signal(signal.SIGINT)

    def end(self, code: int = 0) -> str:
        """Wait for its end; return all that it said."""
        end_s = time.monotonic() + PATIENCE_S
        while self._process.poll() is None:
            self._read()
            if time.monotonic() > end_s:
                self._process.kill()
        while self._read():
            pass
        if self._process.returncode != code:
            raise AssertionError(f"{self.words}: exit code {self._process.returncode}\n{self.said[-3000:]}")
        return self.said

    def _read(self) -> bool:
        assert self._process.stdout is not None
        piece = self._process.stdout.read(4_096)
        if not piece:
            time.sleep(0.02)
            return False
        text = piece.decode("utf-8", "replace")
        self.said += text
        self._say(text)
        return True


class Walk:
    """One folder, one board, and what was seen on the way, by name."""

    def __init__(self, folder: Path, say: Callable[[str], None]) -> None:
        """Begin with an empty folder."""
        self.folder = folder
        self.say = say
        self.clock: Path | None = None
        self.seen: dict[str, str] = {}

    def start(self, *words: str) -> Command:
        """Start a command."""
        return Command(self.folder, words, self.say, self.clock)

    def run(self, *words: str, code: int = 0) -> str:
        """Run a command to its end; return what it said."""
        return self.start(*words).end(code)


def walk(folder: Path, say: Callable[[str], None] = lambda text: None) -> Walk:
    """Do the whole job in an empty folder; AssertionError if anything is not as it must be."""
    job = Walk(folder, say)
    job.run(*NEW)
    job.run("bundle", "--board", "rpi_pico", BIKE, "--out", "pico")
    with LivePico(load_bike(folder / BIKE), folder) as pico:
        job.clock = pico.clock
        pico.lift()
        job.seen["flash"] = job.run("flash", "--board", "rpi_pico", BIKE, "--rides", "2", "--port", pico.port)
        pico.restart()
        pico.wait(START_S)
        inspect(job, pico)
        calibrate(job, pico)
        commission(job, pico)
        ask(job, pico)
        record(job, pico)
        check_and_flash_again(job, pico)
    hand_over(job)
    return job


def inspect(job: Walk, pico: LivePico) -> None:
    """Turn the crank as the program says."""
    command = job.start("inspect", "--live", "--port", pico.port, "--out", "sensor")
    command.until("now 6 turns forward")
    pico.turn(6.0, 50.0)
    command.until("now 2 turns back")
    pico.turn(-2.0, 40.0)
    job.seen["inspect"] = command.end()


def calibrate(job: Walk, pico: LivePico) -> None:
    """Measure every lever, divider, shunt and wheel; forget to open the throttle, and move the selector."""
    pico.stop()
    pico.brake(1.0)
    command = job.start("calibrate", BIKE, "--by", "Ada", "--port", pico.port, "--out", "calibration.json")
    command.until("throttle rest:")
    pico.levers.throttle_v = 0.83
    pico.wait(0.2)
    command.answer("")
    command.until("throttle full:")
    command.answer("")
    command.until("did you move the lever, and in the right direction?")
    command.until("throttle full:")
    pico.levers.throttle_v = 3.52
    pico.wait(0.2)
    command.answer("")
    command.until("selector low:")
    pico.levers.throttle_v = 0.83
    pico.levers.selector_v = 0.52
    pico.wait(0.2)
    command.answer("")
    command.until("selector high:")
    command.answer("")
    pico.wait(0.5)
    pico.levers.selector_v = 4.43
    command.until("selector_v jumps by")
    command.until("selector high:")
    command.answer("")
    command.until("brakes:")
    pico.brake(0.0)
    command.answer("")
    command.until("How many brake levers have a switch?")
    command.answer("2")
    for lever in (1, 2):
        command.until(f"Pull lever {lever} alone")
        pico.brake(1.0)
        pico.wait(0.2)
        command.answer("")
        command.until(f"Let lever {lever} go")
        pico.brake(0.0)
        pico.wait(0.2)
        command.answer("")
    command.until("battery:")
    command.answer("")
    command.until("Volts at the battery by the meter:")
    command.answer(f"{pico.world.battery.voltage_v:.2f}")
    command.until("shunt:")
    pico.levers.load_a = LOAD_A
    command.answer("")
    command.until("Amperes by the meter")
    command.answer(f"{LOAD_A:g}")
    command.until("wheel:")
    pico.levers.load_a = 0.0
    command.answer("")
    command.until("Distance of")
    command.answer(f"{AROUND_M * WHEEL_TURNS:g}")
    job.seen["calibrate"] = command.end()
    pico.brake(0.0)
    pico.wait(START_S)


def commission(job: Walk, pico: LivePico) -> None:
    """Do what the checklist asks for."""
    command = job.start("commission", BIKE, "--by", "Ada", "--port", pico.port, "--out", "commission.json")
    command.until("Is the driven wheel off the ground")
    command.answer("yes")
    command.until("forward:")
    pico.turn(1.0, 40.0)
    command.until("help:")
    pico.pedal(60.0)
    command.until("brake cuts:")
    brake_while_driven(pico)
    command.until("backward:")
    pico.turn(-2.0, 40.0)
    command.until("How many brake levers have a switch?")
    command.answer("2")
    for lever in (1, 2):
        command.until(f"pull only lever {lever}")
        pico.pedal(60.0)
        brake_while_driven(pico)
    command.until("fault stays:")
    pico.levers.throttle_v = 0.0
    command.until("Plug it in again")
    pico.levers.throttle_v = 0.83
    pico.wait(0.3)
    command.answer("")
    command.until("With the board held in reset")
    pico.hold(True)
    off = pico.board.enable == 0 and pico.board.command_mv == 0.0
    pico.hold(False)
    pico.wait(START_S)
    command.answer("yes" if off else "no")
    job.seen["commission"] = command.end()
    pico.wait(START_S)


def brake_while_driven(pico: LivePico) -> None:
    """Wait until the motor is driven, pull a brake, and stop."""
    pico.until(lambda: pico.board.enable == 1, "the motor is driven")
    pico.wait(0.5)
    pico.brake(1.0)
    pico.wait(0.5)
    pico.stop()


def ask(job: Walk, pico: LivePico) -> None:
    """Change a setting, clear a fault and fetch edges: what must wait for a standstill waits."""
    at = ("watch", "--port", pico.port)
    pico.pedal(50.0)
    # Until then the board may not have seen the wheel turn, and takes what is asked.
    pico.until(lambda: pico.board.enable == 1, "the motor is driven")
    command = job.start(*at, "--set", "rise_mv_per_s=450")
    command.until("waiting until it stands")
    pico.stop()
    job.seen["set"] = command.end()
    pico.wait(START_S)
    job.seen["settings"] = job.run(*at, "--settings")
    pico.levers.throttle_v = 0.0
    pico.wait(0.5)
    job.seen["fault"] = job.run(*at, "--plain", "--seconds", "4")
    pico.levers.throttle_v = 0.83
    pico.wait(0.5)
    job.seen["cleared"] = job.run(*at, "--clear-fault")
    pico.turn(3.0, 50.0)
    pico.stop()
    pico.wait(3.5)
    job.seen["capture"] = job.run(*at, "--capture", "edges.jsonl")
    # Three even turns are too few to tell the pulses of a turn, so it ends with 1.
    job.seen["turned"] = job.run("inspect", "edges.jsonl", "--out", "edges", code=1)
    # Back to what the bike file says, as the record must show.
    settings = load_bike(job.folder / BIKE).firmware_settings
    job.run(*at, "--set", f"rise_mv_per_s={settings.rise_mv_per_s}")
    pico.wait(START_S)


def record(job: Walk, pico: LivePico) -> None:
    """Ride on the road with the recorder on; step through it again, and measure the pack by it."""
    pico.unlift()
    command = job.start("watch", "--port", pico.port, "--plain", "--record", "ride.csv")
    command.until("standing")
    pico.wait(3.0)
    for _ in range(4):
        pico.pedal(65.0, watts=100.0)
        pico.wait(4.0)
        pico.rest()
        pico.wait(2.5)
    pico.stop()
    pico.wait(1.0)
    command.interrupt()
    job.seen["record"] = command.end()
    job.seen["replay"] = job.run("ride", BIKE, "--replay", "ride.steps", "--out", "again")
    job.seen["measure"] = job.run("measure", BIKE, "--load-steps", "ride.csv", "--out", "measured")


def check_and_flash_again(job: Walk, pico: LivePico) -> None:
    """Tune, hold the bike against the rules, and put it onto the board that rides."""
    job.seen["tune"] = job.run("tune", BIKE, "--out", "tuned")
    job.seen["verify"] = job.run("verify", BIKE, "--rides", "2", "--out", "rules")
    job.seen["flash again"] = job.run(
        "flash", "--board", "rpi_pico", BIKE, "--rides", "2", "--port", pico.port
    )
    pico.restart()
    pico.wait(START_S)
    job.seen["settings at the end"] = job.run("watch", "--port", pico.port, "--settings")


def hand_over(job: Walk) -> None:
    """Write the owner's page with everything that was measured and seen."""
    job.run("bundle", "--board", "rpi_pico", BIKE, "--out", "pico", "--force")
    files = ("--verify", "rules/verify.json", "--capture", "sensor/inspection.json")
    records = ("--record", "calibration.json", "--record", "commission.json")
    job.seen["handover"] = job.run(
        *("handover", BIKE, *files, "--manifest", "pico/manifest.json", *records, "--out", "longtail.html")
    )


def settings_in(said: str) -> dict[str, int]:
    """Return the settings that `watch --settings` printed."""
    return {name: int(value) for name, value in re.findall(r"^  (\w+) = (-?\d+)$", said, re.M)}


def main(folder: Path) -> None:
    """Walk, and print what is said."""
    if why_missing():
        raise SystemExit(why_missing())
    folder.mkdir()

    def say(text: str) -> None:
        sys.stdout.write(text)
        sys.stdout.flush()

    walk(folder, say)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
