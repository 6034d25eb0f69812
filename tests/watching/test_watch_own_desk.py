"""`treadle watch --desk`: a board that the command starts itself; and requests that wait for a standstill."""

import json
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from host_sim.bikes.load import BIKES, load_bike
from host_sim.boardlink.bundle import bundle_for
from host_sim.boardlink.desk import desk_port
from host_sim.boardlink.targets import target_named
from host_sim.boardlink.whole_folder import write_folder
from host_sim.watching.asking import ASK_AGAIN_S, WAIT_S, open_chosen, when_standing
from host_sim.watching.watched import Watched
from host_sim.watching.workshop import BoardTrouble, InMotion, Workshop
from tests.micropython_unix import micropython_unix
from tests.watching.frames_at_hand import frame_with
from tests.watching.test_watch_desk import Until, frames_of, wait_for_rest
from tests.watching.test_watch_session import Cable, Clock


@pytest.fixture
def treadle(treadle):
    micropython_unix()  # Or skip.
    return partial(treadle, "watch")


@pytest.fixture
def desk_files(tmp_path):
    micropython_unix()
    target = target_named("desk")
    write_folder(tmp_path / "desk", bundle_for(target, load_bike("tandem"), "source").files, force=False)
    return tmp_path / "desk"


def test_it_starts_the_desk_of_a_bike_and_ends_it(treadle, here):
    code, out, err = treadle("--desk", "--bike", "tandem", "--settings", "--json")
    assert (code, err) == (0, "")
    said = json.loads(out)
    assert said["board"] == "desk"
    assert said["settings"] == load_bike("tandem").firmware_settings.as_dict()
    assert list(here.iterdir()) == []


def test_a_changed_setting_stays_in_the_folder_of_a_desk_bundle(treadle, here, desk_files):
    code, out, _ = treadle("--desk", "--files", str(desk_files), "--set", "engage_rpm=33")
    assert (code, out) == (0, "stored; the board restarts with: engage_rpm = 33\n")
    code, out, _ = treadle("--desk", "--files", str(desk_files), "--settings", "--json")
    assert json.loads(out)["settings"]["engage_rpm"] == 33


def test_a_desk_of_an_older_version_that_ends_is_named_and_not_the_port(here, desk_files):
    board = desk_files / "boards" / "desk" / "board.py"
    older = board.read_text(encoding="utf-8").replace('"--standing"', '"--seated"')
    board.write_text(older, encoding="utf-8")
    (here / "mine.toml").write_bytes((BIKES / "tandem.toml").read_bytes())
    # In a process of its own: its questions read what the test runner has closed.
    words = ("calibrate", "mine.toml", "--by", "A", "--desk", "--files", str(desk_files), "--hurry")
    ran = subprocess.run(
        [Path(sys.executable).with_name("treadle"), *words],
        capture_output=True,
        text=True,
        input="skip\n",
        check=False,
    )
    said = (
        f"treadle: --files is {desk_files}, and the desk board in it has ended: perhaps an older version "
        "made it, allowed is a new one by treadle bundle --board desk\n"
    )
    assert (ran.returncode, ran.stdout, ran.stderr) == (2, "", said)
    assert sorted(path.name for path in here.iterdir()) == ["mine.toml"]


def test_an_error_of_a_desk_that_still_rides_stays_what_it_is(here, desk_files):
    with (
        pytest.raises(BoardTrouble, match="as it was"),
        desk_port("tandem", desk_files, True),
    ):
        raise BoardTrouble("as it was")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--desk", "--port", "/dev/null"), "--port and --desk are both given"),
        (("--bike", "tandem"), "--bike, --files and --hurry are allowed only with --desk"),
        (("--desk", "--files", "nosuch"), "allowed is a folder made by treadle bundle --board desk"),
        (("--desk", "--bike", "tandm"), "did you mean tandem?"),
        (("--port", "/dev/null"), "the port /dev/null cannot be opened: it is not a serial port"),
        (("--port", "/tmp"), "the port /tmp cannot be opened: it is not a serial port"),
    ],
)
def test_what_can_not_be_is_told_with_its_cause(treadle, here, words, said):
    code, out, err = treadle(*words, "--settings")
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.long
def test_a_change_that_is_asked_for_while_it_rides_is_stored_when_it_stands(desk_files):
    notices: list[str] = []
    with desk_port("", desk_files, hurry=True) as name:
        _, port = open_chosen(name)
        wait_for_rest(port, True)
        wait_for_rest(port, False)
        when_standing(lambda: Workshop(port).change({"engage_rpm": 31}), notices.append)
        port.close()
    assert notices in ([], ["the bicycle moves: waiting until it stands, at most 120 s; Ctrl-C ends it"])
    slots = "".join(path.read_text() for path in desk_files.glob("settings_*.txt"))
    assert "engage_rpm 31\n" in slots


def test_the_workshop_tells_motion_from_other_refusals():
    with pytest.raises(InMotion, match="must stand"):
        Workshop(Cable(Clock(), resting=False)).change({"engage_rpm": 25})
    with pytest.raises(BoardTrouble) as refused:
        Workshop(Cable(Clock())).change({"engage_rpm": 25, "release_rpm": 26})
    assert not isinstance(refused.value, InMotion)


def _moving(times: int):
    """Return a request that is refused so many times because of motion."""
    left = [times]

    def asked() -> str:
        if left[0]:
            left[0] -= 1
            raise InMotion("the board refuses")
        return "done"

    return asked


def test_a_request_is_repeated_until_it_stands_and_the_wait_is_told_once():
    clock, notices = Clock(), []
    assert when_standing(_moving(3), notices.append, clock, clock.pause) == "done"
    assert clock.s - 100.0 == pytest.approx(3 * ASK_AGAIN_S)
    assert len(notices) == 1


def test_a_bicycle_that_never_stands_is_given_up():
    clock = Clock()
    with pytest.raises(InMotion):
        when_standing(_moving(10_000), lambda line: None, clock, clock.pause)
    assert clock.s - 100.0 == pytest.approx(WAIT_S)


def _watched(late: bool) -> Watched:
    """Watch a whole ring, 10 steps a pitch, 2 of them high; it stalls for 3, and counts it if `late`."""
    watched = Watched()
    place, steps, overruns = 0, 0, 0
    for number in range(60):
        samples = []
        for step in range(12):
            if number == 30 and step == 10:
                place += 3  # The crank went on beyond a whole high part while no step came.
                overruns += 1 if late else 0
            samples.append(1 if place % 10 < 2 else 0)
            place += 1
        steps += 12
        watched.take(
            frame_with(
                number=number, steps=steps, overruns=overruns, worst_us=700, level_samples=tuple(samples),
                time_us=1_000_000 + 60_000 * number,
            ),
            0.06 * number,
        )  # fmt: skip
    return watched


def test_the_bell_never_rings_for_a_magnet_that_passed_while_the_board_was_late():
    assert _watched(late=False).missed.count > 0  # So it would ring, if nobody knew that it was late.
    watched = _watched(late=True)
    assert watched.missed.count == 0
    assert not any(one.ring for one in watched.happenings)


def test_frames_of_the_own_desk_arrive(desk_files):
    with desk_port("", desk_files, hurry=True) as name:
        from host_sim.cli.watch import WatchRequest, watch

        result = watch(WatchRequest(name, None, None, False), None, Until(frames_of(40)))
    assert result.watched.frames >= 40
    assert result.watched.damaged == 0
