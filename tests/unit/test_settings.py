"""One table declares every setting; whatever it does not allow is refused by name."""

import pytest
from hypothesis import given

from firmware.settings import ASCENDING, DUTY_CODED, ONE_CHANNEL, TABLE, TWO_CHANNELS, Settings
from host_sim.rig.rig import Rig
from host_sim.rig.small_settings import settings_with
from host_sim.testing.legal_settings import RANGES, legal_values

ROWS = {row[0]: row for row in TABLE}


def test_the_defaults_are_legal_and_are_the_table():
    assert Settings({}).as_dict() == {name: row[1] for name, row in ROWS.items()}


def test_a_row_is_a_name_three_ascending_numbers_and_a_sentence():
    assert len(ROWS) == len(TABLE)
    for name, default, lowest, highest, sentence in TABLE:
        assert lowest <= default <= highest, name
        assert lowest < highest, name
        assert len(sentence) > 15, name


def test_annotations_and_slots_are_the_names_of_the_table_in_its_order():
    assert list(Settings.__annotations__) == list(ROWS)
    assert list(Settings.__slots__) == list(ROWS)


def test_both_ends_of_every_range_are_legal_among_fitting_neighbours():
    for end in (0, 1):
        values = {name: both[end] for name, both in RANGES.items()}
        assert Settings(values).as_dict() == values


def test_an_end_that_its_pair_does_not_allow_is_not_the_fault_of_the_range():
    # Only these ends of the table are excluded by the other of a pair.
    cut_short = {name for name, (lowest, highest) in RANGES.items() if ROWS[name][2:4] != (lowest, highest)}
    # Nor is the lowest number of engage edges, which is that of a duty-coded sensor.
    assert cut_short <= {name for pair in ASCENDING for name in pair} | {"engage_edges"}


@pytest.mark.parametrize("name", list(ROWS))
def test_one_below_and_one_above_the_range_are_refused_by_name(name):
    _, _, lowest, highest, _ = ROWS[name]
    for value in (lowest - 1, highest + 1):
        with pytest.raises(ValueError, match=f"^{name} must be {lowest} to {highest}, got {value}$"):
            Settings({name: value})


@pytest.mark.parametrize("value", [True, 12.0, "12", None])
def test_what_is_no_whole_number_is_refused_by_name(value):
    with pytest.raises(ValueError, match=r"^pulses_per_rev must be a whole number from 4 to 64, got "):
        Settings({"pulses_per_rev": value})


@pytest.mark.parametrize("name", ["pulse_per_rev", "", "PULSES_PER_REV", "__init__"])
def test_an_unknown_name_is_refused(name):
    with pytest.raises(ValueError, match=f"^there is no setting {name}$"):
        Settings({name: 1})


@pytest.mark.parametrize(("lower", "higher"), ASCENDING)
def test_a_pair_must_ascend_and_equal_does_not(lower, higher):
    values = {name: lowest for name, (lowest, _) in RANGES.items()}  # The lowest that still ascend.
    Settings(values)
    value = values[higher]
    with pytest.raises(ValueError, match=f"^{lower} must be lower than {higher}, got {value} and {value}$"):
        Settings({**values, lower: value})


def test_the_refusal_of_a_pair_names_both_and_their_values():
    with pytest.raises(ValueError, match=r"^release_rpm must be lower than engage_rpm, got 20 and 20$"):
        Settings({"release_rpm": 20})


def test_one_apart_ascends():
    assert Settings({"release_rpm": 19}).release_rpm == 19


@pytest.mark.parametrize(
    ("kind", "least"), [(TWO_CHANNELS, 5), (ONE_CHANNEL, 3), (DUTY_CODED, 2)], ids=["two", "one", "duty"]
)
def test_fewer_edges_than_a_first_pitch_takes_are_refused_by_name(kind, least):
    assert Settings({"sensor_kind": kind, "engage_edges": least}).engage_edges == least
    if least > 2:
        refused = f"^engage_edges must be {least} or more with sensor_kind {kind}, got {least - 1}$"
        with pytest.raises(ValueError, match=refused):
            Settings({"sensor_kind": kind, "engage_edges": least - 1})


@pytest.mark.parametrize(("kind", "least"), [(TWO_CHANNELS, 5), (ONE_CHANNEL, 3), (DUTY_CODED, 2)])
def test_that_many_edges_engage_and_one_fewer_had_no_pitch_to_engage_with(kind, least):
    rig = Rig(settings_with(sensor_kind=kind, engage_edges=least)).ready()
    runs = []
    rig.after_step.append(lambda rig, _: runs.append((rig.controller.crank.forward_run, rig.command_mv > 0)))
    rig.run(1_000, rpm=40)
    first = next(run for run, drives in runs if drives)
    assert first == least
    assert (least - 1, False) in runs or kind == DUTY_CODED  # A duty-coded ring counts edges in twos.


@given(legal_values())
def test_whatever_the_strategy_of_the_tests_draws_is_legal(values):
    assert Settings(values).as_dict() == {row[0]: values[row[0]] for row in TABLE}
