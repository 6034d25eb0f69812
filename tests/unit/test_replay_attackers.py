"""Logs that someone has tampered with, with every checksum right: a sentence or a named step, never more."""

from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as given_settings
from hypothesis import strategies as st

from firmware.ticks import TICKS_MAX_US
from host_sim.bench.course import course_from
from host_sim.bench.ride import ticks_at_start_us
from host_sim.bench.script import CourseScript
from host_sim.bikes.load import load_bike
from host_sim.boardlink.recorded import RecordedStep
from host_sim.cli.replay import ReplayRequest, ReplayResult
from host_sim.errors import RequestError
from host_sim.replay.log_file import LogWriter, Section, parse_log
from host_sim.replay.stepping import replay
from tests.bench_log import ridden_section, write_log
from tests.unit.test_replay import recorded

SECONDS = 14.0
COURSE = [
    {"at_s": 0, "cadence_rpm": 0},
    {"at_s": 2, "cadence_rpm": 64, "effort_w": 90.0},
    {"at_s": 11, "cadence_rpm": 0},
]


@pytest.fixture(scope="module")
def rides():
    """Return two random lives of the same board, each with its blocks."""
    return [recorded(400, seed) for seed in (1, 2)]


def written(path: Path, settings, blocks) -> Path:
    with LogWriter(path, force=True, option="--record") as log:
        log.begin("paper", "source", settings)
        for block in blocks:
            log.write(block)
    return path


def outcome(path: Path) -> tuple[str, list]:
    """Return the refusal or complaint of a replay, "" if there is none, and what was found."""
    try:
        request = ReplayRequest(path, None, [], None, False, None)
    except RequestError as refusal:
        return str(refusal), []
    pairs = zip(request.log.sections, request.settings, strict=True)
    found = [replay(section, settings) for section, settings in pairs]
    return ReplayResult(request, found, []).complaint, found


EDITS = st.lists(
    st.tuples(st.sampled_from(["drop", "double", "swap", "foreign"]), st.integers(0, 30), st.integers(0, 30)),
    min_size=1,
    max_size=3,
)


@given(edits=EDITS)
@given_settings(max_examples=40, deadline=None)
def test_blocks_dropped_doubled_swapped_or_from_another_ride_are_told(rides, tmp_path_factory, edits):
    (ridden, blocks), (_, others) = rides
    changed = list(blocks)
    for what, first, second in edits:
        one, two = first % len(changed), second % len(changed)
        if what == "drop" and len(changed) > 1:
            del changed[one]
        elif what == "double":
            changed.insert(two, changed[one])
        elif what == "swap":
            changed[one], changed[two] = changed[two], changed[one]
        elif what == "foreign":
            changed[one] = others[second % len(others)]
    path = tmp_path_factory.mktemp("log") / "ride.steps"
    said, found = outcome(written(path, ridden.controller.settings.as_dict(), changed))
    assert "\n" not in said
    run = [block for block in blocks if block in changed]
    whole = changed == run == blocks[blocks.index(changed[0]) :][: len(changed)] if run else False
    if whole:
        assert not said or "too short" in said or found[0].from_start is False
        assert found[0].loss is None
    else:
        assert said


def test_two_logs_one_behind_the_other_are_refused_and_two_interrupted_ones_are_two_sections(rides, tmp_path):
    paths = [
        written(tmp_path / f"{at}.steps", ridden.controller.settings.as_dict(), blocks)
        for at, (ridden, blocks) in enumerate(rides)
    ]
    first, second = (path.read_bytes() for path in paths)
    both = tmp_path / "both.steps"
    both.write_bytes(first + second)
    said, _ = outcome(both)
    assert (
        said
        == f"{both} at byte {len(first)}: something follows the end mark, allowed is a log as it was written"
    )
    end = first.rindex(b"\0", 0, len(first) - 1) + 1
    both.write_bytes(first[:end] + second)
    said, found = outcome(both)
    assert (said, [one.parting for one in found]) == ("", [None, None])


@given(
    name=st.sampled_from(sorted(load_bike("tandem").firmware_settings.as_dict())),
    value=st.one_of(st.integers(-(2**31), 2**31), st.none(), st.text(max_size=3), st.floats(), st.booleans()),
)
@given_settings(max_examples=60, deadline=None)
def test_any_setting_in_the_header_is_refused_or_replayed(rides, tmp_path_factory, name, value):
    ridden, blocks = rides[0]
    settings = ridden.controller.settings.as_dict() | {name: value}
    path = tmp_path_factory.mktemp("log") / "ride.steps"
    try:
        written(path, settings, blocks[:3])
    except ValueError:
        return  # No number of JSON: such a header can't be written.
    said, found = outcome(path)
    assert "\n" not in said
    if found and not said:
        assert found[0].parting is None


@pytest.fixture(scope="module")
def help_over_the_wrap() -> tuple[Section, list[RecordedStep]]:
    """Ride the trike so that its clock wraps while the motor helps."""
    bike = load_bike("cargo_trike")
    # A seed whose clock starts less than 10 s before the wrap, so that it wraps while the motor helps.
    seed = next(
        seed
        for seed in range(1, 20_000)
        if 4_000_000 < TICKS_MAX_US + 1 - ticks_at_start_us(seed) < 10_000_000
    )
    script = CourseScript(course_from("out", "out", SECONDS, COURSE))
    section = ridden_section(bike, script, SECONDS, seed=seed)
    return section, [step for step in section.steps() if isinstance(step, RecordedStep)]


def test_a_ride_whose_clock_wraps_while_the_motor_helps_is_replayed_to_the_bit(help_over_the_wrap):
    section, steps = help_over_the_wrap
    wraps = [at for at in range(1, len(steps)) if steps[at].now_us < steps[at - 1].now_us]
    assert len(wraps) == 1
    assert min(step.command_mv for step in steps[wraps[0] - 20 : wraps[0] + 20]) > 0
    found = replay(section, load_bike("cargo_trike").firmware_settings)
    assert (found.parting, found.equal) == (None, len(steps))


@pytest.mark.slow
def test_two_hours_over_several_wraps_are_replayed_to_the_bit():
    hours_s = 7_200.0
    lines = [
        stretch
        for start_s in range(0, 7_200, 60)
        for stretch in (
            {"at_s": start_s, "cadence_rpm": 0, "grade_percent": 0.0},
            {"at_s": start_s + 8, "cadence_rpm": 50 + start_s // 60 % 40, "effort_w": 60.0 + start_s % 90},
            {"at_s": start_s + 40, "grade_percent": float(start_s // 60 % 5 - 2)},
        )
    ]
    bike = load_bike("cargo_trike")
    section = ridden_section(bike, CourseScript(course_from("out", "out", hours_s, lines)), hours_s, seed=4)
    found = replay(section, bike.firmware_settings)
    times_us = [step.now_us for step in section.steps() if isinstance(step, RecordedStep)]
    assert sum(after < before for before, after in pairwise(times_us)) in (6, 7)
    assert found.seconds > 7_190.0
    assert (found.parting, found.loss, found.equal) == (None, None, len(times_us))


@pytest.mark.parametrize("other", ["tandem", "folding"])
def test_a_log_with_the_settings_of_another_bike_names_the_step_where_they_part(
    treadle, here, help_over_the_wrap, other
):
    section, _ = help_over_the_wrap
    settings = load_bike(other).firmware_settings.as_dict()
    write_log(here / "ride.steps", Section("paper", "source", settings, False, section.blocks))
    code, _, err = treadle("ride", "--replay", "ride.steps", "--out", "out")
    assert code == 1
    assert err.startswith("treadle: the firmware differs from the board at step ")
    assert err.count("\n") == 1


@given(cut=st.integers(0, 10**6), flips=st.lists(st.integers(0, 10**7), max_size=2))
@given_settings(max_examples=60, deadline=None)
def test_a_ride_cut_anywhere_with_bits_flipped_ends_in_a_sentence(
    help_over_the_wrap, tmp_path_factory, cut, flips
):
    section, steps = help_over_the_wrap
    path = write_log(tmp_path_factory.mktemp("log") / "ride.steps", section)
    content = bytearray(path.read_bytes())
    del content[cut % (len(content) + 1) :]
    for flip in flips:
        if content:
            content[flip // 8 % len(content)] ^= 1 << flip % 8
    path.write_bytes(bytes(content))
    said, found = outcome(path)
    assert "\n" not in said
    if not found:
        assert str(path) in said
        return
    (section,) = parse_log(path.read_bytes(), "log").sections
    read = [step for step in section.steps() if isinstance(step, RecordedStep)]
    assert read == steps[: len(read)]
