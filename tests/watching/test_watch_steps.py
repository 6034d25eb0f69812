"""`watch --record` and `--blackbox` store every step of the desk, and each log is replayed bit for bit."""

import json
from functools import partial
from pathlib import Path

import pytest

from firmware.settings import Settings
from host_sim.boardlink.console_client import BoardRefusal
from host_sim.replay.log_file import LogWriter, read_log
from host_sim.replay.stepping import replay
from host_sim.watching.step_record import StepRecord
from host_sim.watching.watched import Watched
from tests.micropython_unix import micropython_unix
from tests.unit.test_replay import recorded
from tests.watching.frames_at_hand import frame_with


@pytest.fixture
def treadle(treadle):
    micropython_unix()  # Or skip.
    return partial(treadle, "watch", "--desk")


def replayed(path: Path) -> int:
    """Replay a log; return how many steps agree."""
    log = read_log(path)
    assert log.ended
    steps = 0
    for section in log.sections:
        found = replay(section, Settings(section.settings))
        assert found.from_start
        assert (found.parting, found.loss) == (None, None)
        steps += found.equal
    return steps


TRIES = 5
"""The desk rides on by its own clock: where this machine is busy it may have left before anybody listens."""


@pytest.mark.long
def test_a_recorded_ride_has_every_step_and_is_replayed_to_the_bit(treadle, here):
    for _ in range(TRIES):
        code, out, err = treadle("--record", "ride.csv", "--seconds", "4", "--json", "--force")
        summary = json.loads(out)
        if summary["steps_from_start"]:
            break
    assert (code, err) == (0, "")
    assert (summary["steps_lost"], summary["steps_from_start"]) == (0, True)
    assert summary["steps"] == replayed(here / "ride.steps") > 200
    assert (here / "ride.csv").read_text(encoding="utf-8").startswith("received_s,")


def test_the_black_box_of_a_board_without_a_fault_holds_what_it_did_until_then(treadle, here):
    for _ in range(TRIES):
        code, out, _ = treadle("--blackbox", "box.steps", "--json", "--force")
        assert code == 0
        (section,) = read_log(here / "box.steps").sections
        assert section.frozen
        if replay(section, Settings(section.settings)).from_start:
            break
    assert json.loads(out)["blackbox_steps"] == replayed(here / "box.steps") > 0


def test_a_black_box_that_is_there_already_is_not_replaced(treadle, here):
    (here / "box.steps").write_text("mine", encoding="utf-8")
    code, _, err = treadle("--blackbox", "box.steps")
    assert (code, err) == (
        2,
        "treadle: box.steps exists already, allowed is another --blackbox, or --force\n",
    )
    assert (here / "box.steps").read_text(encoding="utf-8") == "mine"


class Told:
    """A console that records its requests."""

    def __init__(self, refuses: str = "") -> None:
        self.asked: list[str] = []
        self.refuses = refuses

    def stream(self, from_oldest: bool = False) -> None:
        self.asked.append("stream all" if from_oldest else "stream")

    def start(self) -> None:
        self.asked.append("start")
        if self.refuses:
            raise BoardRefusal(self.refuses)


@pytest.mark.parametrize("refuses", ["", "the bicycle must stand, and nothing may drive"])
def test_a_board_whose_first_steps_are_gone_is_started_anew_or_recorded_from_where_it_is(tmp_path, refuses):
    ridden, blocks = recorded(400, 2)
    watched = Watched()
    watched.frame = frame_with()
    watched.settings = ridden.controller.settings.as_dict()
    with LogWriter(tmp_path / "r.steps", force=False, option="--record") as log:
        record = StepRecord(log)
        board = Told(refuses)
        record.attend(board, watched, 0.0)
        for block in blocks[3:]:
            record.take(block)
        record.attend(board, watched, 0.1)
        assert board.asked == ["stream all", "start"]
        if not refuses:
            record.attend(board, watched, 0.2)
            for block in blocks:
                record.take(block)
            record.attend(board, watched, 4.0)
            assert board.asked == ["stream all", "start", "stream all", "stream"]
    log_read = read_log(tmp_path / "r.steps")
    assert len(log_read.sections) == 1
    assert log_read.sections[0].blocks == (blocks[3:] if refuses else blocks)
    assert record.from_start is not bool(refuses)
    assert (record.lost, record.holes) == (0, 0)
