"""How often the inspection is right, over a grid of rings, legs, noise and faults from the bench."""

import re

import pytest

from tests.capture.halls.__main__ import README
from tests.capture.halls.table import BEGIN, END, put_into
from tests.capture.identification.__main__ import FIRST, main
from tests.capture.identification.grid import case
from tests.capture.identification.judging import (
    CAN_NOT_TELL,
    GUESSED_WRONG,
    STATED_RIGHT,
    STATED_WRONG,
    Verdict,
    judge,
)
from tests.capture.identification.table import counts, markdown, stated_right_share

SMALL = 60
LEAST_RIGHT = 0.97  # Of what is stated with 90 % or more.


def _judged(numbers):
    return [verdict for number in numbers for verdict in judge(case(number))]


@pytest.mark.long
def test_what_is_stated_is_right():
    judged = _judged(range(FIRST, FIRST + SMALL))
    assert stated_right_share(counts(judged).values()) >= LEAST_RIGHT
    # And much is stated: an inspection that states nothing makes no errors either.
    pulses = [one.outcome for one in judged if one.finding == "pulses per revolution"]
    assert pulses.count(STATED_RIGHT) >= 0.5 * SMALL


@pytest.mark.slow
def test_every_finding_that_is_stated_is_right_over_the_whole_grid():
    found = counts(_judged(range(FIRST, FIRST + 2000)))
    names = {name for name, _ in found}
    shares = {name: stated_right_share(row for (of, _), row in found.items() if of == name) for name in names}
    assert {name: share for name, share in shares.items() if share < LEAST_RIGHT} == {}


def test_a_case_is_always_the_same():
    one, two = case(17), case(17)
    assert (one.sensor.pulses, one.sensor.errors_deg, one.fault) == (
        two.sensor.pulses,
        two.sensor.errors_deg,
        two.fault,
    )
    assert len({case(number).sensor.seed for number in range(50)}) == 50


def test_the_table_counts_what_was_judged():
    judged = [Verdict("lead", "", STATED_RIGHT)] * 3 + [
        Verdict("lead", "", STATED_WRONG),
        Verdict("duty", "x", CAN_NOT_TELL),
    ]
    assert counts(judged) == {("lead", ""): [3, 1, 0, 0, 0], ("duty", "x"): [0, 0, 0, 0, 1]}
    assert stated_right_share(counts(judged).values()) == 0.75
    assert "| lead | all | 3 | 1 | 0 | 0 | 0 |" in markdown(judged, 5)
    assert stated_right_share([[0, 0, 0, 5, 0]]) == 1.0
    assert GUESSED_WRONG == 3


def test_the_tables_go_between_their_marks():
    assert put_into(f"a {BEGIN} old {END} z", "new") == f"a {BEGIN}\nnew\n{END} z"
    with pytest.raises(ValueError, match="has no"):
        put_into("a document without marks", "new")


def test_the_tables_in_the_documents_say_what_was_right_and_call_no_unfit_order_fit():
    table = README.read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0]
    share = float(re.search(r"statements ([\d.]+)% were right", table).group(1))
    assert share >= 99.0
    for name in ("one channel lacks a magnet", "overlap too brief", "a wire dead from the start"):
        assert re.search(rf"\| {name} \| 30 \| not fit \| 0 \|", table)


def test_a_wrong_argument_is_refused(capsys):
    assert main(["many"]) == 2
    assert "CAPTURES a whole number from 1" in capsys.readouterr().err
