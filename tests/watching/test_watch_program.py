"""`treadle watch` as a user sees it: the page in a real terminal, keys, signals, lines, JSON, exit codes."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import tty
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from firmware.settings import TABLE
from host_sim.boardlink.console_client import open_port
from host_sim.boardlink.port_choice import NoBoard, choose_port
from tests.desk_on_a_port import DeskOnAPort
from tests.watching.test_watch_desk import rows_of, same_as_sent
from tests.watching.test_watch_page import LABELS

pytestmark = pytest.mark.long

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = [sys.executable, "-c", "from host_sim.cli import main; main()", "watch"]
PATIENCE_S = 120.0  # On a busy computer.
TRIES = 10
LAST_ROW = "q ends"  # The page is drawn from its top: when this is there, all of it is.


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in the test's own folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def treadle(treadle):
    return partial(treadle, "watch")


class Terminal:
    """A terminal of tmux with `treadle watch` in it, on a server of its own."""

    def __init__(self, folder: Path, width: int, height: int, words: list[str], **environment: str) -> None:
        if shutil.which("tmux") is None:
            pytest.skip("tmux is not installed: the page is not tried in a terminal")
        self._server = ["tmux", "-S", str(folder / "tmux"), "-f", os.devnull]
        self._out = folder / "ended"
        env = {**os.environ, "PYTHONPATH": str(ROOT), "LC_ALL": "C.UTF-8", **environment}
        # Afterwards the exit code is in a file, and the terminal stays open for inspection.
        program = 'trap : INT; "$@"; echo $? >"$ENDED"; exec cat'
        self._tmux(
            *("new-session", "-d", "-x", str(width), "-y", str(height), "-e", f"ENDED={self._out}"),
            *("sh", "-c", program, "sh", *PROGRAM, *words),
            env=env,
        )
        self._tmux("set-option", "-g", "monitor-bell", "on")

    def _tmux(self, *words: str, env: dict[str, str] | None = None) -> str:
        done = subprocess.run([*self._server, *words], env=env, capture_output=True, text=True, check=True)
        return done.stdout

    def rows(self) -> list[str]:
        return self._tmux("capture-pane", "-p").splitlines()

    def colours(self) -> str:
        return self._tmux("capture-pane", "-p", "-e")

    def rang(self) -> bool:
        return self._tmux("display-message", "-p", "#{window_bell_flag}").strip() == "1"

    def press(self, *keys: str) -> None:
        self._tmux("send-keys", *keys)

    def looks(self) -> Iterator[list[str]]:
        """Yield the screen repeatedly until the test has seen what it waits for."""
        end_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < end_s:
            yield self.rows()
        raise AssertionError("it did not come; there stands:\n" + "\n".join(self.rows()))

    def wait_for(self, text: str) -> list[str]:
        return next(rows for rows in self.looks() if text in "\n".join(rows))

    def code(self) -> int:
        """Wait for the end of the program and return its exit code."""
        return next(
            int(self._out.read_text()) for _ in self.looks() if self._out.exists() and self._out.read_text()
        )

    def close(self) -> None:
        subprocess.run([*self._server, "kill-server"], capture_output=True, check=False)


@pytest.fixture
def terminal(tmp_path):
    """Open terminals; close them afterwards."""
    opened: list[Terminal] = []

    def open_terminal(width: int, height: int, words: list[str], **environment: str) -> Terminal:
        opened.append(Terminal(tmp_path, width, height, words, **environment))
        return opened[-1]

    yield open_terminal
    for one in opened:
        one.close()


def stands_still(rows: list[str]) -> bool:
    return all(rows[at].startswith(label) for at, label in LABELS.items())


def test_the_page_in_a_terminal_of_80_by_24(tmp_path, terminal):
    path = tmp_path / "ride.csv"
    with DeskOnAPort(tmp_path, "--magnet-missing") as desk:
        seen = terminal(80, 24, ["--port", str(desk.port), "--record", str(path)])
        seen.wait_for(LAST_ROW)
        seen.wait_for("direction   forward")
        for _, rows in zip(range(20), seen.looks(), strict=False):
            assert stands_still(rows), "\n".join(rows)
        rows = seen.wait_for("missed a magnet")
        assert rows[0].startswith("treadle watch  ")
        assert any(character in rows[3] for character in "┌┐")
        assert any(character in rows[4] for character in "┘└")
        assert "recorded in ride.csv" in rows[21]
        assert next(True for _ in seen.looks() if seen.rang())
        assert "38;2;" in seen.colours() or "38;5;" in seen.colours()
        seen.press("+")
        seen.wait_for("20 ms a column")
        seen.press("-", "-")
        seen.wait_for("5 ms a column")
        seen.press("Space")
        held = seen.wait_for("held; recording continues")[3:7]
        desk.unplug()
        assert seen.wait_for("port lost for")[3:7] == held
        desk.plug_in()
        seen.wait_for("port lost: 1")
        assert next(True for _ in seen.looks() if rows_of(path)[-1]["connection"] == "2")
        seen.press("q")
        assert seen.code() == 0
        seen.wait_for("lost on the link")  # Of the summary: the page may stay a moment longer.
        rows = seen.wait_for("recorded in")
    assert not any(row.startswith("channel A") for row in rows)  # The terminal is as it was.
    assert {row["connection"] for row in rows_of(path)} == {"1", "2"}


def test_the_page_without_colour_in_ascii_at_120_by_40_and_ctrl_c(tmp_path, terminal):
    with DeskOnAPort(tmp_path) as desk:
        words = ["--port", str(desk.port)]
        seen = terminal(120, 40, words, NO_COLOR="1", PYTHONIOENCODING="ascii")
        seen.wait_for(LAST_ROW)
        rows = seen.wait_for("direction   standing")  # Without a frame it would end with 1.
        assert stands_still(rows)
        assert "now at the right edge" in "\n".join(rows)
        assert all(row.isascii() for row in rows)
        assert "[38;" not in seen.colours()
        seen.press("C-c")
        assert seen.code() == 0


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 0), (signal.SIGKILL, -9)])
def test_an_interruption_loses_no_frame_and_no_half_row_stays(tmp_path, number, code):
    path = tmp_path / "ride.csv"
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        program = subprocess.Popen(
            [*PROGRAM, "--port", str(desk.port), "--record", str(path)],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert program.stdout is not None
        while program.stdout.readline() and not (path.exists() and len(rows_of(path)) > 20):
            pass  # It says something every second.
        program.send_signal(number)
        _, err = program.communicate(timeout=PATIENCE_S)
        assert (program.returncode, err) == (code, "")
        rows = rows_of(path)
        assert path.read_bytes().endswith(b"\n")
        assert len(rows) > 20
        assert same_as_sent(rows, desk)


def test_where_no_terminal_is_there_are_lines_and_a_summary(tmp_path, treadle):
    with DeskOnAPort(tmp_path) as desk:
        desk.wait_for_frames()
        code, out, err = treadle(
            "--port", str(desk.port), "--seconds", "2", "--record", str(tmp_path / "r.csv")
        )
    assert (code, err) == (0, "")
    lines = out.splitlines()
    (first, *_) = [line for line in lines if "standing 0 rpm" in line]
    assert first.endswith("; no valid settings, or a safe start: the motor stays off")
    assert lines[-3].endswith("0 lost on the link, 0 pieces damaged, magnets missed 0 times")
    assert lines[-2] == f"recorded in {tmp_path / 'r.csv'}"
    assert lines[-1].endswith(f"steps, from the board's start, in {tmp_path / 'r.steps'}")


def asked_while_it_stands(tmp_path, treadle, *words: str, answer: bytes = b"") -> tuple[int, str, str]:
    """Ask a desk that has just started; another one if the computer was too busy.

    That is if the rider, who rests for 5 s, set off meanwhile, or `answer` did not come from the desk.
    """
    for _ in range(TRIES):
        with DeskOnAPort(tmp_path) as desk:
            desk.wait_for_frames()
            ended = treadle("--port", str(desk.port), *words)
            if desk.has_sent(answer) and not any(frame.edges for frame in desk.frames_sent()):
                return ended
    raise AssertionError(f"the rider set off before the answer, {TRIES} times")


def test_json_is_one_object_and_nothing_else(tmp_path, treadle):
    all_settings = b'"left": 0}'
    code, out, err = asked_while_it_stands(tmp_path, treadle, "--seconds", "3", "--json", answer=all_settings)
    assert (code, err) == (0, "")
    summary = json.loads(out)
    assert list(summary) == [
        *("port", "board", "seconds", "frames", "lost", "damaged", "missed_magnets"),
        *("missed_again_a_turn_later", "times_away", "away_s", "file", "steps_file", "steps"),
        *("steps_lost", "steps_from_start", "complaint", "last"),
    ]
    assert (summary["port"], summary["board"], summary["file"]) == (str(tmp_path / "port"), "desk", None)
    assert summary["last"]["direction"] == "standing"


def test_a_standing_board_is_asked_and_changed(tmp_path, treadle):
    words = ("--set", "engage_rpm=25", "--clear-fault", "--settings", "--json")
    code, out, err = asked_while_it_stands(tmp_path, treadle, *words)
    assert (code, err) == (0, "")
    answer = json.loads(out)
    assert (answer["board"], answer["cleared"], answer["changed"]) == ("desk", True, {"engage_rpm": 25})
    assert (answer["settings"]["engage_rpm"], len(answer["settings"])) == (20, len(TABLE))


def test_a_crank_without_edges_is_told_with_1_and_leaves_no_file(tmp_path, treadle):
    code, out, err = asked_while_it_stands(tmp_path, treadle, "--capture", str(tmp_path / "edges.jsonl"))
    assert (code, out) == (1, "")
    assert err == "treadle: the board has recorded no crank edge since its start, turn the crank first\n"
    assert not (tmp_path / "edges.jsonl").exists()


def test_a_port_that_is_not_there_is_refused_with_2(tmp_path, treadle):
    port = str(tmp_path / "port")
    code, out, err = treadle("--port", port, "--record", str(tmp_path / "ride.csv"))
    assert (code, out) == (2, "")
    assert err.startswith(f'treadle: --port is "{port[:80]}", which does not exist, allowed is ')
    assert list(tmp_path.iterdir()) == []


def test_a_port_in_use_is_refused_with_2_and_leaves_no_file(tmp_path, treadle):
    with DeskOnAPort(tmp_path) as desk:
        used = open_port(str(desk.port))
        code, out, err = treadle("--port", str(desk.port), "--record", str(tmp_path / "ride.csv"))
        used.close()
    assert (code, out) == (2, "")
    assert err == f"treadle: the port {desk.port} cannot be opened: another program is using it\n"
    assert not (tmp_path / "ride.csv").exists()


def test_a_port_that_says_nothing_ends_with_1_and_leaves_no_file(tmp_path, treadle):
    master, slave = os.openpty()
    tty.setraw(slave)
    port = os.ttyname(slave)
    code, out, err = treadle(
        "--port", port, "--seconds", "1", "--record", str(tmp_path / "ride.csv"), "--json"
    )
    os.close(master)
    os.close(slave)
    assert code == 1
    assert json.loads(out)["frames"] == 0
    assert err.startswith(f"treadle: no frame arrived from {port} in {json.loads(out)['seconds']:.1f} s: ")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_port_is_refused_with_2(tmp_path, treadle):
    (tmp_path / "file").write_text("no port")
    code, _, err = treadle("--port", str(tmp_path / "file"))
    assert code == 2
    assert err.startswith(f"treadle: the port {tmp_path / 'file'} cannot be opened: ")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--seconds", "0"], "--seconds is 0, allowed is a number from 1 to 1000000"),
        (["--seconds", "nan"], "--seconds is nan, allowed is a number from 1 to 1000000"),
        (["--seconds", "soon"], "--seconds is 'soon', allowed is a number of seconds"),
        (["--settings", "--plain"], "--record, --seconds and --plain are for watching"),
        (["--set", "engage_rpm"], '--set is "engage_rpm", allowed is NAME=VALUE'),
        (["--capture", "."], ". is a directory, allowed is a file for --capture"),
    ],
)
def test_a_wrong_request_ends_with_2_before_any_port_is_opened(words, sentence, treadle):
    code, out, err = treadle("--port", "/nowhere", *words)
    assert (code, out) == (2, "")
    assert err.startswith("treadle: ")
    assert sentence in err


class Info:
    def __init__(self, device: str, vid: int | None) -> None:
        self.device = device
        self.vid = vid


def test_without_a_port_the_only_board_is_taken_and_several_are_listed(monkeypatch, treadle):
    found: list[Info] = []
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: found)
    with pytest.raises(NoBoard, match="no board was found on any USB port"):
        choose_port(None)
    found.append(Info("/dev/ttyS0", None))
    code, out, err = treadle()
    assert (code, out) == (1, "")
    assert err.startswith("treadle: no board was found on any USB port, connect the board with a USB cable")
    found.append(Info("/dev/ttyACM1", 0x1234))
    assert choose_port(None) == "/dev/ttyACM1"
    found.append(Info("/dev/ttyACM0", 0x1234))
    assert choose_port("/dev/ttyACM0") == "/dev/ttyACM0"
    for given in ("/dev/ttyACM7", "a\0b"):
        code, out, err = treadle("--port", given)
        assert (code, out) == (2, "")
        assert err.endswith("which does not exist, allowed is /dev/ttyACM0, /dev/ttyACM1\n")
    code, _, err = treadle()
    assert code == 2
    assert err.endswith("choose one with --port: /dev/ttyACM0, /dev/ttyACM1\n")
