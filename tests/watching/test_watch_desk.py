"""A watch of the desk board over a pseudo-terminal: the real port, the real link, the real firmware."""

import csv
import os
import tty
from collections.abc import Callable
from pathlib import Path

import pytest

from host_sim.bikes.load import load_bike
from host_sim.boardlink.bundle import place_file
from host_sim.boardlink.console_client import open_port
from host_sim.boardlink.frames import Frame, Wire
from host_sim.capture.open_capture import open_capture
from host_sim.cli.watch import WatchRequest, watch
from host_sim.errors import RequestError
from host_sim.watching.session import Ended
from host_sim.watching.watch_result import WatchResult
from host_sim.watching.watched import Watched
from host_sim.watching.workshop import BoardTrouble, Workshop
from tests.desk_on_a_port import DeskOnAPort

PATIENCE_S = 300.0  # For a busy computer; usually everything takes less than a tenth of it.


class Until:
    """A view that ends the watch when `holds` is true, and acts after a number of frames."""

    def __init__(
        self, holds: Callable[[Watched], bool], acts: dict[int, Callable[[], None]] | None = None
    ) -> None:
        self.holds = holds
        self.acts = acts or {}

    def look(self, watched: Watched, now_s: float) -> None:
        for frames in [frames for frames in self.acts if watched.frames >= frames]:
            self.acts.pop(frames)()
        if not self.acts and self.holds(watched):
            raise Ended
        assert now_s < PATIENCE_S


def frames_of(count: int) -> Callable[[Watched], bool]:
    return lambda watched: watched.frames >= count


def watched_by(desk: DeskOnAPort, view: Until, record: Path | None = None) -> WatchResult:
    request = WatchRequest(str(desk.port), record, None, False)
    if record is None:
        return watch(request, None, view)
    opened = request.open_record()
    assert opened is not None
    with opened:
        return watch(request, opened, view)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def same_as_sent(rows: list[dict[str, str]], desk: DeskOnAPort) -> bool:
    """Return whether the rows are consecutive frames that the desk sent."""
    found = [(int(row["number"]), int(row["time_us"])) for row in rows]
    sent = [(frame.number, frame.time_us) for frame in desk.frames_sent()]
    first = sent.index(found[0])
    return found == sent[first : first + len(found)]


def test_every_frame_that_the_desk_sent_is_in_the_record(tmp_path):
    path = tmp_path / "ride.csv"
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        result = watched_by(desk, Until(frames_of(400)), path)  # More than the 256 possible numbers.
        rows = rows_of(path)
        assert same_as_sent(rows, desk)
    summary = result.as_json()
    assert len(rows) == summary["frames"] >= 400
    assert (summary["lost"], summary["damaged"], summary["complaint"]) == (0, 0, None)
    assert (summary["file"], summary["times_away"]) == (str(path), 0)
    assert summary["last"]["number"] == int(rows[-1]["number"])


def test_the_settings_are_asked_for_without_losing_a_frame(tmp_path):
    path = tmp_path / "ride.csv"
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        result = watched_by(desk, Until(lambda watched: bool(watched.settings)), path)
        assert same_as_sent(rows_of(path), desk)
    assert result.watched.board == "desk"
    assert result.watched.settings["engage_rpm"] == 20
    assert result.watched.lost.count == 0


def test_a_board_that_is_unplugged_is_waited_for_and_the_record_goes_on(tmp_path):
    path = tmp_path / "ride.csv"
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        was_away = []

        def look_for(watched: Watched) -> bool:
            if not watched.connected and not was_away:
                was_away.append(watched.frames)
                desk.plug_in()
            return bool(was_away) and watched.frames >= was_away[0] + 30

        result = watched_by(desk, Until(look_for, {30: desk.unplug}), path)
    rows = rows_of(path)
    assert len(rows) == result.watched.frames
    assert [row["connection"] for row in rows] == ["1"] * was_away[0] + ["2"] * (len(rows) - was_away[0])
    assert all(row["lost"] == "0" for row in rows)
    texts = [one.text for one in result.watched.happenings]
    assert "the port is lost, waiting for it to come back" in texts
    assert any(text.startswith("the port is back after") for text in texts)
    summary = result.as_json()
    assert (summary["times_away"], summary["complaint"]) == (1, None)


def test_a_frame_that_the_line_spoils_is_counted_and_named(tmp_path):
    path = tmp_path / "ride.csv"
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        lost = Until(lambda watched: watched.lost.count > 0, {20: desk.spoil_a_frame})
        result = watched_by(desk, lost, path)
    (hole,) = [row for row in rows_of(path) if row["lost"] != "0"]
    assert (hole["lost"], result.watched.lost.count, result.watched.damaged) == ("1", 1, 1)
    assert int(hole["lost_numbers"]) == (int(hole["number"]) - 1) % 256
    assert (
        result.complaint == f"frames were lost on the link (1): the column lost_numbers of {path} names them"
    )


def test_noise_on_the_line_spoils_nothing_but_what_it_falls_into(tmp_path):
    noises = (b"\0\xff\xfe\0", b"\x1b[2J" * 100, bytes(range(256)), b'{"refused": 1}\n', b"[" * 5_000)
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        acts = {20 * at: (lambda noise=noise: desk.disturb(noise)) for at, noise in enumerate(noises, 1)}
        all_over = Until(lambda watched: desk.noise_is_over(watched.frame), acts)
        result = watched_by(desk, all_over)
    # The first three are no text, wherever they fall.
    assert 3 <= result.watched.damaged <= 12
    assert result.watched.lost.count <= len(noises)
    assert all(one.text.isprintable() for one in result.watched.happenings)


def test_the_missing_magnet_of_the_desk_is_told(tmp_path):
    with DeskOnAPort(tmp_path, "--hurry", "--magnet-missing") as desk:
        result = watched_by(desk, Until(lambda watched: watched.missed.count >= 2))
    (first, *_) = [one for one in result.watched.happenings if one.ring]
    assert first.text == "the sensor missed a magnet"


def test_a_whole_ring_of_the_desk_misses_nothing_in_a_round_of_its_ride(tmp_path):
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        result = watched_by(desk, Until(frames_of(960)))  # 48 s: pedalling, stopping, braking, backward.
    assert result.watched.missed.count == 0


def wait_for_rest(port, resting: bool) -> None:
    """Read frames until the desk's rider rests, or does not."""
    wire = Wire()
    while not any(
        isinstance(item, Frame) and item.resting is resting for item in wire.feed(port.read(4_096))
    ):
        pass


def at_rest(desk: DeskOnAPort, port, ask: Callable[[Workshop], object]) -> object:
    """Ask when the rider rests; again if the rest ended meanwhile."""
    while True:
        wait_for_rest(port, resting=True)
        try:
            return ask(Workshop(port))
        except BoardTrouble as refusal:
            if "the bicycle must stand" not in str(refusal):
                raise


@pytest.mark.long
def test_a_standing_board_is_asked_changed_and_its_edges_are_kept(tmp_path):
    path = tmp_path / "edges.jsonl"
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        port = open_port(str(desk.port))
        assert at_rest(desk, port, Workshop.about) == {
            "board": "desk",
            "settings": "none are valid, so the motor stays off (settings_a.txt: it is missing; "
            "settings_b.txt: it is missing)",
        }
        at_rest(desk, port, Workshop.clear_fault)
        wait_for_rest(port, resting=False)
        assert at_rest(desk, port, lambda board: board.keep_edges(path, force=False)) == 512
        at_rest(desk, port, lambda board: board.change({"engage_rpm": 25}))
        assert "engage_rpm 25\n" in (tmp_path / "desk-files" / "settings_a.txt").read_text()
        port.close()
    capture = open_capture(path)
    assert sum(len(chunk.times_ns) for chunk in capture.chunks()) >= 500
    assert (capture.form, capture.damage) == ("board dump", "")


def test_a_setting_above_the_place_is_refused_with_its_name(tmp_path):
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        files = tmp_path / "desk-files"
        (files / "place.txt").write_bytes(place_file(load_bike("tandem")))
        port = open_port(str(desk.port))
        at_rest(desk, port, lambda board: board.change({"engage_speed_mm_per_s": 900}))
        at_rest(desk, port, Workshop.about)  # It restarts, and reads its place again.
        with pytest.raises(BoardTrouble) as refusal:
            at_rest(desk, port, lambda board: board.change({"power_limit_w": 501}))
        port.close()
    assert "power_limit_w must be 0 to 500 in this board's place, British Columbia, Canada, got 501" in str(
        refusal.value
    )


def test_a_port_that_another_program_uses_is_refused(tmp_path):
    with DeskOnAPort(tmp_path, "--hurry") as desk:
        used = open_port(str(desk.port))
        with pytest.raises(RequestError) as refusal:
            watched_by(desk, Until(frames_of(1)), tmp_path / "ride.csv")
        used.close()
    assert str(refusal.value) == f"the port {desk.port} cannot be opened: another program is using it"
    assert not (tmp_path / "ride.csv").exists()


def test_a_port_that_says_nothing_is_told(tmp_path):
    master, slave = os.openpty()
    tty.setraw(slave)
    result = watch(WatchRequest(os.ttyname(slave), None, 1.0, False), None, Until(lambda watched: False))
    os.close(master)
    os.close(slave)
    assert result.seconds >= 1.0
    assert result.complaint.startswith(
        f"no frame arrived from {result.watched.port} in {result.seconds:.1f} s: "
    )
    assert "is this the port of a board that rides?" in result.complaint
