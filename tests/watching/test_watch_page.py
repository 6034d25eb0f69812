"""The page: rows that stay in place, words for everything, and nothing wider than the terminal."""

import pytest

from host_sim.watching.drawing import ASCII, BOX, bar_rows, column_rows, trace_rows
from host_sim.watching.page import Controls, page
from host_sim.watching.plain_lines import PlainLines
from host_sim.watching.watched import Watched
from tests.watching.frames_at_hand import frame_with, frames

SETTINGS = {
    "engage_rpm": 20,
    "release_rpm": 12,
    "power_limit_w": 250,
    "pulses_per_rev": 12,
    "sensor_kind": 0,
    "selector_positions": 3,
    "throttle_fitted": 1,
}
LABELS = {
    3: "channel A",
    5: "channel B",
    9: "direction",
    10: "cadence",
    12: "power",
    14: "command",
    15: "supply",
    16: "state",
    17: "fault",
    18: "magnets",
    19: "sensor",
    20: "loop",
    21: "frames",
}


def seen(**changes) -> Watched:
    """Return the data after one frame, and the settings."""
    watched = Watched()
    watched.opened("/dev/ttyACM0", 0.0)
    watched.learnt({"board": "rpi_pico"}, {**SETTINGS, **changes.pop("settings", {})})
    watched.take(frame_with(**changes), 0.5)
    return watched


def shown(watched: Watched, now_s=0.6, width=80, height=24, kit=BOX, **controls) -> list[str]:
    rows = [row.plain for row in page(watched, now_s, width, height, Controls(**controls), kit)]
    assert len(rows) == height
    assert max(len(row) for row in rows) <= width
    return rows


def test_a_trace_is_drawn_in_two_rows():
    assert trace_rows([0, 0, 1, 1, 1, 0, 0], 7, 1, BOX) == ("  ┌──┐ ", "──┘  └─")
    assert trace_rows([0, 0, 1, 1, 1, 0, 0], 7, 1, ASCII) == ("  .--. ", "__'  '_")


def test_a_trace_that_is_too_short_or_has_gaps_shows_where_nothing_is_known():
    assert trace_rows([1, None, 0], 5, 1, BOX) == ("··─· ", "·· ·─")


def test_a_channel_that_goes_both_ways_within_a_column_is_an_upright_stroke():
    assert trace_rows([0, 0, 1, 0, 0, 0], 3, 2, BOX) == (" │ ", "─│─")


def test_a_bar_ends_where_its_value_stands_and_is_never_too_long():
    assert bar_rows(60, 120, (30, 60), "here", 20, BOX) == ("█" * 10 + "░" * 10, "     ╵    ╵ here    ")
    assert bar_rows(500, 120, (119,), "here", 20, BOX) == ("█" * 20, "here               ╵")
    assert bar_rows(-5, 120, (), "", 20, ASCII) == ("-" * 20, " " * 20)


def test_words_stand_between_the_marks_and_go_before_them():
    assert bar_rows(0, 120, (0, 119), "sixteen letters.", 20, BOX)[1] == "╵ sixteen letters. ╵"
    assert bar_rows(0, 120, (0, 119), "seventeen letters", 20, BOX)[1] == "seventeen letters   "
    assert bar_rows(0, 120, (0, 119), "more than twenty letters", 20, BOX)[1] == "more than twenty lett"[:20]


@pytest.mark.parametrize("wanted_w", range(0, 320, 10))
def test_the_watts_wanted_and_allowed_are_told_wherever_their_marks_stand(wanted_w):
    for ceiling_w in range(0, 320, 10):
        row = shown(seen(wanted_w=wanted_w, ceiling_w=ceiling_w))[13]
        assert f"delivered; requested {wanted_w}, allowed {ceiling_w}" in row


def test_columns_show_the_latest_values_at_the_right():
    assert column_rows([0, 60, 120], 120, 4, 2, BOX) == ["   █", "  ██"]
    assert column_rows([9, 9, 15, 30], 120, 2, 1, BOX) == ["▁▂"]


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40), (60, 24), (300, 90)])
def test_every_label_stays_in_its_row(width, height):
    worst = {
        "fault": "crank edges lost: they came faster than they were read",
        "battery_v": 100.0,
        "current_a": 100.0,
        "brake_pulled": True,
        "edges": 65535,
        "rejected": 65535,
        "edges_lost": 65535,
    }
    for watched in (seen(), seen(**worst), seen(settings={"sensor_kind": 1}), seen(settings_valid=False)):
        rows = shown(watched, width=width, height=height)
        assert {at: label for at, label in LABELS.items() if rows[at].startswith(label)} == LABELS
        assert rows[0].startswith("treadle watch  rpi_pico at /dev/ttyACM0")
        assert rows[-1].startswith("q ends")


def test_everything_fits_into_80_columns():
    watched = seen(battery_v=53.4, current_a=12.3, brake_pulled=True, throttle_rest_seen=False)
    rows = shown(watched)
    assert rows[9] == "direction   forward"
    assert rows[10].startswith("cadence     60 rpm   ████")
    assert rows[11].rstrip().endswith("   ╵   ╵ release 12, engage 20: engage or above")
    assert rows[12].startswith("power       180 W    ████")
    assert "delivered; requested 190, allowed 250" in rows[13]
    assert rows[14] == "command     2.25 V, drive on; assist share 75 %; 18.0 km/h"
    assert rows[15] == "supply      battery 53.4 V, 12.3 A; brake pulled; throttle 0.70 V, rest not seen"
    assert rows[16] == "state       assisting"
    assert rows[17] == "fault       none"
    assert rows[18] == "magnets     none missed"
    assert rows[19] == "sensor      480 edges, 2 rejected as noise, 0 lost"
    assert rows[20] == "loop        bytecode, 198 of 200 steps/s, longest 0.7 of 5 ms, 3 overruns"
    assert rows[21] == "frames      1, 0 lost, 0 damaged; not recorded"


@pytest.mark.parametrize(
    ("cadence_rpm", "words"),
    [
        (11, "below release"),
        (12, "between thresholds"),
        (19, "between thresholds"),
        (20, "engage or above"),
    ],
)
def test_the_cadence_is_told_against_its_thresholds(cadence_rpm, words):
    assert f"release 12, engage 20: {words}" in shown(seen(cadence_rpm=cadence_rpm))[11]


def test_the_longest_step_of_the_last_second_is_told_and_an_unknown_rate_is_a_question_mark():
    watched = seen(worst_us=65_535, overruns=65_535)
    assert shown(watched)[20].endswith("longest 65.5 of 5 ms, 65535 overruns")
    for frame in frames(19):
        watched.take(frame, 1.0)
    row = shown(watched)[20]
    assert row == "loop        bytecode, 198 of 200 steps/s, longest 65.5 of 5 ms, 3 overruns"
    watched.take(frame_with(number=20, period_us=0), 1.5)
    assert shown(watched)[20].startswith("loop        bytecode, ? of 200 steps/s, longest 0.7 of 5 ms")


def test_a_board_with_an_older_firmware_is_named_and_what_to_do():
    watched = Watched()
    watched.opened("/dev/ttyACM0", 0.0)
    watched.take_other_kind(1, 0.1)
    watched.take_other_kind(1, 0.2)
    assert [one.text for one in watched.happenings] == [
        "the board has an older firmware: its frames are of kind 1, this program reads kind 2; "
        "flash the board with this version"
    ]
    rows = shown(watched, now_s=5.0)
    assert (rows[1] + " " + rows[2]).split() == watched.happenings[0].text.split()
    watched.take_other_kind(None, 0.3)
    watched.take_other_kind(9, 0.4)
    assert watched.happenings[-1].text.startswith("the board has a newer firmware: its frames are of kind 9")


def test_without_settings_the_page_says_so():
    watched = Watched()
    watched.opened("/dev/ttyACM0", 0.0)
    watched.take(frame_with(), 0.5)
    rows = shown(watched)
    assert rows[1] == "connected; settings not known yet"
    assert "thresholds come with the settings" in rows[11]


def test_one_channel_can_not_tell_the_way_and_has_no_channel_b():
    rows = shown(seen(settings={"sensor_kind": 1}))
    assert rows[9] == "direction   turning (one channel doesn't show which way)"
    assert rows[5] == "channel B   not fitted: the pedal sensor has one channel"


def test_what_is_not_fitted_is_said():
    rows = shown(seen(settings={"selector_positions": 0, "throttle_fitted": 0}))
    assert "assist share 75 %, no selector" in rows[14]
    assert rows[15].endswith("no throttle")


def test_a_board_without_valid_settings_is_not_called_healthy():
    assert (
        shown(seen(settings_valid=False))[17]
        == "fault       none, but no valid settings, or a safe start: the motor stays off"
    )


def test_a_missed_magnet_is_told_with_what_it_may_mean():
    watched = seen()
    watched.missed.count = 3
    assert shown(watched)[18] == "magnets     3 missed, not at one place: a resting foot looks the same"
    watched.missed.repeated = 2
    assert shown(watched)[18] == "magnets     3 missed, 2 at the same place as a turn before: weak or missing"
    watched.missed.repeated = 0
    watched.missed.pulses_per_rev = 0
    assert shown(watched)[18] == "magnets     3 missed; waiting for the settings to see whether at one place"
    assert shown(seen(pitch_s=0.019))[18] == "magnets     0 missed; now too fast to detect"


def test_a_port_that_is_gone_and_a_port_that_is_silent_are_told_apart():
    watched = seen()
    assert shown(watched, now_s=2.4)[1] == "connected"
    assert shown(watched, now_s=4.6)[1].startswith(
        "no frame for 4 s: is this the port of a board that rides?"
    )
    watched.gone(5.0)
    assert shown(watched, now_s=9.2)[1] == "port lost for 4 s, waiting for it to come back"


def test_a_terminal_that_is_too_small_is_told_so():
    assert shown(seen(), width=59)[0] == "the page needs 60 columns and 24 rows, not 59 and 24"
    assert shown(seen(), height=23)[0].endswith("not 80 and 23")
    shown(seen(), width=1, height=1)


def test_before_the_first_frame_the_page_has_its_shape_already():
    watched = Watched()
    watched.opened("/dev/ttyACM0", 0.0)
    rows = shown(watched)
    assert rows[1] == "connected, waiting for a frame"
    assert rows[21].startswith("frames      0, 0 lost")
    assert {at: label for at, label in LABELS.items() if rows[at].startswith(label)} == LABELS


def test_traces_can_be_held_while_more_comes():
    watched = seen()
    held = tuple(watched.levels)
    before = shown(watched, held=held, held_seen=watched.levels_seen)[3:7]
    for frame in frames(20, first=1):
        watched.take(frame, 1.0)
    rows = shown(watched, held=held, held_seen=12)
    assert rows[3:7] == before
    assert rows[3:7] != shown(watched)[3:7]
    assert "held; recording continues" in rows[7]


def test_a_sample_stays_in_its_column_while_the_trace_moves_on():
    """Columns of four samples, frames of ten: the columns must not shift with each frame."""
    watched = seen()
    for frame in frames(30, first=1):
        watched.take(frame, 1.0)
    before = shown(watched, per_column=4)[3][12:]
    watched.take(frames(1, first=31)[0], 1.05)
    after = shown(watched, per_column=4)[3][12:]
    assert after[:-3] in (before[2:-1], before[3:])


def test_ascii_serves_a_terminal_that_has_nothing_else():
    for height in (24, 40):
        assert all(row.isascii() for row in shown(seen(), height=height, kit=ASCII))


def test_where_there_is_room_the_last_minutes_are_drawn():
    watched = seen()
    for at in range(1, 30):
        watched.take(frame_with(number=at, steps=12 + 10 * at), float(at))
    rows = shown(watched, width=120, height=40)
    assert rows[23].startswith("cadence     120 rpm")
    assert rows[28].endswith("█" * 30)


def lines_of(looks) -> list[str]:
    """Return the lines that are printed for consecutive (watched, now_s)."""
    said: list[str] = []
    lines = PlainLines(said.append, lambda: None)
    for watched, now_s in looks:
        lines.look(watched, now_s)
    return said


def test_a_line_comes_each_second_and_at_each_change():
    watched = seen()
    said: list[str] = []
    lines = PlainLines(said.append, lambda: None)
    for at in range(1, 45):
        state = "braked" if at >= 30 else "assisting"
        watched.take(frame_with(number=at, steps=12 + 10 * at, state=state), at * 0.05)
        lines.look(watched, at * 0.05)
    assert [line[:12].strip() for line in said] == ["0.1 s", "1.1 s", "1.5 s"]
    assert "forward 60 rpm (engage or above); assisting; 180 W of 190 requested, 250 allowed" in said[0]
    assert "braked" in said[2]


def test_what_happens_has_a_line_of_its_own_once():
    watched = seen()
    watched.happened("the sensor missed a magnet", 0.55, ring=True)
    said = lines_of([(watched, 0.6), (watched, 0.65)])
    assert said[0] == "     0.6 s  the sensor missed a magnet"
    assert len(said) == 2


def test_a_silence_is_said_once():
    said = lines_of([(seen(), at / 10) for at in range(6, 80)])
    assert len([line for line in said if "no frame for" in line]) == 1
