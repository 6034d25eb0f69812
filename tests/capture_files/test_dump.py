"""The board's edge dump: as the firmware's own console writes it, and with everything wrong with it."""

import json

import pytest

from firmware.ticks import TICKS_MAX_US
from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from tests.capture_files.making import DUMP, FORWARD, edges_of, read, written
from tests.unit.test_console import Desk


def test_a_dump_comes_as_edges_across_the_wrap_of_the_boards_clock(tmp_path):
    capture = open_capture(written(tmp_path, DUMP))
    assert (capture.form, capture.channels) == ("board dump", ("A", "B"))
    assert edges_of(capture) == FORWARD
    assert edges_of(capture) == FORWARD
    assert (capture.damage, capture.duration_ns) == ("", 40_000_000)
    assert read(written(tmp_path, DUMP), ("B",)) == [(0, 0), (20_000_000, 1), (40_000_000, 0)]


def test_what_the_firmwares_console_answers_is_a_dump(tmp_path):
    desk = Desk()
    start_us = TICKS_MAX_US - 200_000
    for number in range(600):
        desk.edges.record((0, 1, 3, 2)[number % 4], start_us + 7_001 * number & TICKS_MAX_US)
        desk.edges.take()
    lines = [json.dumps(answer) + "\n" for answer in desk.ask({"request": "edges"})]
    # It remembers the last 512: from number 88 on, whose levels are 0.
    assert read(written(tmp_path, "".join(lines))) == [
        (7_001_000 * number, (0, 1, 3, 2)[number % 4]) for number in range(512)
    ]


@pytest.mark.parametrize(
    ("text", "damage", "count"),
    [
        (DUMP.splitlines()[0], "line 1: the dump is cut off here, 2 edges of it are missing", 3),
        (DUMP + DUMP, "line 3: a second dump begins here; what follows is not read", 5),
        (DUMP[:-10], "line 2: '{\"ok\": \"edges\", \"edges\": [[2, 20000], [0…' is not a line", 3),
        (DUMP.replace("[2, 20000]", "[4, 20000]"), "line 2: '[4, 20000]' is not an edge, allowed is", 3),
        (DUMP.replace("[2, 20000]", "[true, 20000]"), "line 2: '[true, 20000]' is not an edge, all", 3),
        (DUMP.replace("20000]", "1073741824]"), "line 2: '[2, 1073741824]' is not an edge, all", 3),
        (DUMP.replace("20000]", "20000.0]"), "line 2: '[2, 20000.0]' is not an edge, allow", 3),
        (DUMP.replace("[2, 20000]", "[2]"), "line 2: '[2]' is not an edge, allowed is [levels, time_us]", 3),
        (DUMP.replace("20000]", "9999]"), "line 2: the time of '[2, 9999]' is earlier than that of", 3),
        (DUMP.replace("[[2, 20000], [0, 30000]]", "7"), "line 2: its 'edges' are not a list", 3),
        (DUMP.replace('"left": 0', '"left": -1'), "line 2: its 'left' is '-1', allowed is a whole number", 5),
        (DUMP + "[]\n", "line 3: '[]' is not a line of an edge dump", 5),
    ],
)  # fmt: skip
def test_a_broken_dump_is_read_up_to_the_damage(tmp_path, text, damage, count):
    capture = open_capture(written(tmp_path, text))
    assert edges_of(capture) == FORWARD[:count]
    assert capture.damage.startswith(f"capture {damage}")


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('{"ok": "edges", "edges": [], "left": 0}\n', "capture: no level of A and B is in it"),
        (
            '{"ok": "settings"}\n',
            'capture line 1: \'{"ok": "settings"}\' is not a line of an edge dump; what follows',
        ),
        (
            "{" * 100_000,
            "capture line 1: '{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{{…' is not a line of an edge dump",
        ),
    ],
)
def test_json_that_is_no_dump_is_refused(tmp_path, text, sentence):
    with pytest.raises(RequestError) as refusal:
        edges_of(open_capture(written(tmp_path, text)))
    assert str(refusal.value).startswith(sentence)


def test_only_the_boards_two_channels_can_be_asked_for(tmp_path):
    with pytest.raises(
        RequestError, match=r"^capture: none of its channels is called 'C', allowed is one or two of"
    ):
        open_capture(written(tmp_path, DUMP), ("C",))
