"""A pupil's controller: three rules, errors with their line, and limits on what it may take."""

import json
import time

import pytest

from host_sim.errors import RequestError
from host_sim.lab.in_page import own_answered
from host_sim.lab.own_loop import START_CODE, ride_own
from host_sim.lab.own_loop_figure import draw_own
from host_sim.lab.own_process import OWN_MAX_S, own_in_process
from host_sim.lab.teaching.own_loop import SOLUTION
from tests.quick_first import quick_first

STEP = "def step(edges, brake):\n    "


def _held(code):
    return [rule.held for rule in ride_own(code).rules]


def test_the_first_controller_has_fifteen_lines_and_breaks_two_of_three_rules():
    assert len(START_CODE.splitlines()) == 15
    assert _held(START_CODE) == [True, False, False]


@pytest.mark.parametrize(
    ("code", "held"),
    [
        (SOLUTION, [True, True, True]),
        (START_CODE.replace("quiet < 200:", "quiet < 40:"), [True, True, False]),
        (START_CODE.replace("quiet < 200:", "quiet < 200 and not brake:"), [True, False, True]),
        (
            START_CODE.replace("+ 10", "+ 1"),
            [False, False, False],
        ),  # Help comes after the last judged second.
        (STEP + "return 0", [False, False, False]),  # Who never helps keeps no rule.
        (STEP + "return 3000", [True, False, False]),  # Who pushes before anybody pedals breaks one.
    ],
)
def test_each_rule_is_held_or_broken_by_a_line_of_its_own(code, held):
    assert _held(code) == held


def test_how_long_it_waits_decides_how_far_it_pushes_on():
    # In the top gear of this trike 60 rpm are some 4 m a second: 60 steps are 1.2 m, 120 are 2.4 m.
    short, long = START_CODE.replace("< 200", "< 60"), START_CODE.replace("< 200", "< 120")
    assert [_held(short)[1], _held(long)[1]] == [True, False]


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (
            "def step(edges, brake)\n    return 1",
            "line 1 (`def step(edges, brake)`): this line can't be read",
        ),
        ("def step(edges, brake):\nreturn 1", "line 2 (`return 1`): lines of one block"),
        ("x = 1", "there is no function named step"),
        ("step = 5", "there is no function named step"),
        (STEP + "return nothing", "line 2 (`return nothing`): this name is unknown"),
        (
            "n = 0\n" + STEP + "n = n + 1\n    return n",
            "line 3 (`n = n + 1`): a name that step changes",
        ),
        ("def step(edges):\n    return 1", "these values can't be combined"),
        (STEP + "return 1 / 0", "line 2 (`return 1 / 0`): something is divided by zero"),
        (STEP + "return -1", "step returned -1, allowed is 0 to 5000 mV"),
        (STEP + "return 5001", "step returned 5001, allowed is 0 to 5000 mV"),
        (STEP + "return None", "step returned 'None', allowed is a number of mV"),
        (STEP + "return True", "step returned 'True'"),
        (STEP + "return float('nan')", "step returned 'nan'"),
        (STEP + "return float('inf')", "step returned inf"),
        (STEP + "return step(edges, brake)", "line 2 (`return step(edges, brake)`): a function calls itself"),
        (STEP + "raise SystemExit(3)", "line 2 (`raise SystemExit(3)`)"),
        (STEP + "raise KeyboardInterrupt", "line 2 (`raise KeyboardInterrupt`)"),
        ("exit()", "line 1 (`exit()`)"),
        ("import nowhere", "line 1 (`import nowhere`): this module is not available"),
        ("x = '\0'", "can't be read"),
        ("\ud800", "UnicodeEncodeError"),
        ("(" * 5000, "line 1"),
        ("x = " + "9" * 7000, "line 1"),
        ("#" * 9000, "the code has 9000 characters, allowed is 8000"),
    ],
)
def test_what_is_wrong_is_explained_in_a_sentence_with_its_line(code, words):
    with pytest.raises(RequestError) as refused:
        ride_own(code)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 500


def test_numbers_that_a_board_could_carry_out_are_taken():
    for value in ("0", "5000", "0.5", "4999.9", "-0.0"):
        assert ride_own(STEP + f"return {value}").rules


def test_what_it_prints_is_kept_to_some_lines():
    said = ride_own(STEP + "print('edges', edges)\n    return 0").said
    assert said[0].startswith("edges ")
    assert len(said) == 20
    assert max(map(len, ride_own("print('x' * 10**6)\n" + STEP + "return 0").said)) <= 200


def test_each_ride_begins_as_at_power_up():
    counted = (
        "n = 0\n" + STEP + "global n\n    n = n + 1\n    if n == 1:\n        print('first')\n    return 0"
    )
    assert ride_own(counted).said == ("first",) * 3


def test_the_figure_says_how_many_rules_held():
    assert "1 of 3 rules held" in draw_own(ride_own(START_CODE))


def test_the_answer_is_json_and_names_the_line_for_the_editor():
    told = json.loads(own_answered(json.dumps({"code": STEP + "return nothing"})))
    assert told["line"] == 2
    assert json.loads(own_answered(json.dumps({"code": "x = 1"})))["line"] is None
    assert "svg" in json.loads(own_answered(json.dumps({"code": START_CODE})))


def _in_process(code):
    return json.loads(own_in_process(json.dumps({"code": code})))


@pytest.mark.parametrize(
    "code",
    quick_first(
        1,
        [
            "while True:\n    try:\n        while True:\n            pass\n"
            "    except BaseException:\n        0",
            "import signal\nfor n in range(1, 30):\n    try:\n        signal.signal(n, signal.SIG_IGN)\n"
            "    except (OSError, ValueError):\n        pass\nwhile True:\n    pass",
            "import subprocess, sys\nsubprocess.run([sys.executable, '-c', 'import time; time.sleep(1000)'])",
        ],
    ),
)
def test_in_a_process_of_its_own_it_ends_after_three_seconds(code):
    begun_s = time.monotonic()
    assert f"did not end within {OWN_MAX_S} s" in _in_process(code)["refused"]
    assert time.monotonic() - begun_s >= OWN_MAX_S  # No upper limit: this computer may be busy.


def test_in_a_process_of_its_own_memory_files_and_surroundings_are_limited(tmp_path, monkeypatch):
    assert (
        "the code needs more memory than is allowed" in _in_process("x = bytearray(3_000_000_000)")["refused"]
    )
    mark = tmp_path / "mark"
    wrote = _in_process(
        f"with open({str(mark)!r}, 'w') as file:\n    file.write('x' * 100_000)\n    file.flush()"
    )
    assert "line" in wrote["refused"] or "ended too early" in wrote["refused"]
    assert not mark.exists() or mark.stat().st_size == 0
    monkeypatch.setenv("LAB_SECRET", "a secret")
    seen = _in_process(f"import os\nprint(sorted(os.environ))\n{STEP}return 0")
    assert "LAB_SECRET" not in seen["said"][0]


@pytest.mark.parametrize(
    "code",
    [
        "import os\nos._exit(0)",
        "import os\nos.write(1, b'{}')\nos._exit(1)",
        "import os\nos.kill(os.getpid(), 9)",
    ],
)
def test_who_ends_the_process_gets_a_sentence(code):
    assert "ended too early" in _in_process(code)["refused"]
