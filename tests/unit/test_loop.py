"""The endless loop on a board of paper: order, schedule, overruns, and a safe end whatever happens."""

import pytest

from firmware.controller import Controller
from firmware.loop import Board, Heap, Link, LoopCounters, run
from firmware.records import Inputs, Outputs
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

START_US = BEFORE_WRAP_US


class Unplugged(Exception):
    """The end of a test's board."""


class PaperBoard(Board):
    """Plays back the times of its readings, writes down what happens, and then fails."""

    def __init__(self, spans_us: list):
        self.spans_us = spans_us
        self.stepped_us: list[int] = []  # When steps were taken, from the start.
        self.story: list[str] = []
        self.reads = 0

    def read(self, inputs: Inputs) -> int:
        if self.reads == len(self.spans_us):
            raise Unplugged
        now_us = SmallInt((START_US + self.spans_us[self.reads]) % WRAP_US)
        self.reads += 1
        self.story.append("read")
        inputs.sampled_us = now_us
        inputs.throttle_mv = 700
        inputs.battery_mv = 36_000
        inputs.brake_pulled = False
        return now_us

    def write(self, outputs: Outputs) -> None:
        self.story.append("write" if outputs.drive_enabled else "write safe")

    def feed_watchdog(self) -> None:
        self.stepped_us.append(self.spans_us[self.reads - 1])
        self.story.append("feed")


class Counted(Heap):
    """Counts the collections."""

    def __init__(self) -> None:
        self.collections = 0

    def collect(self) -> None:
        super().collect()
        self.collections += 1


class Run:
    """One run of the loop until its board is unplugged."""

    def __init__(self, spans_us: list):
        self.board = PaperBoard(spans_us)
        self.counters = LoopCounters()
        self.heap = Counted()
        self.controller = Controller(settings_with(), START_US)

    def play(self) -> "Run":
        with pytest.raises(Unplugged):
            run(self.board, self.controller, Inputs(), self.counters, self.heap)
        return self


def test_the_output_is_made_safe_first_and_last():
    story = Run([]).play().board.story
    assert story == ["write safe", "write safe"]


def test_a_step_is_read_written_and_only_then_fed():
    story = Run([0, 0, 5_000]).play().board.story
    assert story == ["write safe", "read", *["read", "write safe", "feed"] * 2, "write safe"]


def test_steps_are_due_every_5_ms_and_the_loop_waits_for_them():
    played = Run([0, 0, 1_000, 4_999, 5_000, 9_999, 10_000]).play()
    assert played.board.stepped_us == [0, 5_000, 10_000]
    assert played.counters.steps == 3
    assert played.counters.overruns == 0
    assert played.board.story.count("read") == 7


def test_a_step_that_is_a_little_late_does_not_move_the_schedule():
    played = Run([0, 0, 9_999, 10_000, 14_999, 15_000]).play()
    assert played.board.stepped_us == [0, 9_999, 10_000, 15_000]
    assert played.counters.overruns == 0


def test_a_step_a_whole_period_late_is_counted_and_the_schedule_goes_on_from_there():
    played = Run([0, 0, 10_000, 10_001, 14_999, 15_000, 20_000]).play()
    assert played.counters.overruns == 1
    assert played.board.stepped_us == [0, 10_000, 15_000, 20_000]


def test_a_step_just_within_its_period_is_no_overrun():
    played = Run([0, 0, 9_999]).play()
    assert played.counters.overruns == 0


@pytest.mark.parametrize(("back_us", "stepped_us"), [(0, [0, 5_000]), (1, [0, -1, 5_000])])
def test_a_clock_that_jumps_back_by_more_than_a_period_steps_at_once(back_us, stepped_us):
    # The next step is due at 5 ms; a time further from it than a period is not on this schedule.
    played = Run([0, 0, -back_us, 4_998, 5_000]).play()
    assert played.board.stepped_us == stepped_us
    assert played.counters.overruns == 0


def test_after_a_jump_back_of_5_s_steps_go_on_every_5_ms():
    played = Run([0, 0, -5_000_000, -4_995_001, -4_995_000]).play()
    assert played.board.stepped_us == [0, -5_000_000, -4_995_000]
    assert played.counters.overruns == 0


def test_the_counters_wrap_at_65536():
    played = Run([0, 0, 20_000])
    played.counters.steps = 65_535
    played.counters.overruns = 65_535
    played.play()
    assert played.counters.steps == 1
    assert played.counters.overruns == 0


def test_memory_is_collected_after_two_seconds_at_rest():
    for steps, collections in ((399, 0), (400, 1), (799, 1), (800, 2)):
        played = Run([0, *[number * 5_000 for number in range(steps)]]).play()
        assert played.counters.steps == steps
        assert played.heap.collections == collections


class RollingBoard(PaperBoard):
    """A bicycle that rolls at 2.1 m/s: a wheel pulse every second."""

    def read(self, inputs: Inputs) -> int:
        now_us = super().read(inputs)
        if self.reads % 200 == 1:
            inputs.wheel.record(1, now_us)
            inputs.wheel.record(0, now_us)
        return now_us


def test_memory_is_not_collected_while_the_bicycle_rolls():
    played = Run([])
    played.board = RollingBoard([0, *[number * 5_000 for number in range(1_000)]])
    played.play()
    # Before the second pulse there is no speed: 200 steps, too few.
    assert played.counters.steps == 1_000
    assert played.heap.collections == 0


class StoppingBoard(PaperBoard):
    """A bicycle that rolls until its 401st reading and then stands: 3 s later it is known to stand."""

    def read(self, inputs: Inputs) -> int:
        now_us = super().read(inputs)
        if self.reads <= 401 and self.reads % 200 == 1:
            inputs.wheel.record(1, now_us)
            inputs.wheel.record(0, now_us)
        return now_us


def test_after_a_ride_memory_is_collected_after_two_whole_seconds_at_rest():
    rests = Talk(turns=100_000)
    steps = 2_000
    board = StoppingBoard([0, *[number * 2_500 for number in range(2 * steps)]])
    played = Run([])
    played.board = board
    collected_after: list[int] = []  # How many turns at rest came before each collection, since the ride.

    class Noted(Counted):
        def collect(self) -> None:
            super().collect()
            collected_after.append(
                sum(1 for resting in rests.resting[rests.resting.index(False) :] if resting)
            )

    with pytest.raises(Unplugged):
        run(board, played.controller, Inputs(), played.counters, Noted(), rests)
    assert False in rests.resting
    assert next(turns for turns in collected_after if turns > 0) == 399


class ThrottledBoard(PaperBoard):
    """A bicycle held fast while its throttle, at rest for two seconds, is then open."""

    def read(self, inputs: Inputs) -> int:
        now_us = super().read(inputs)
        if self.reads > 399:
            inputs.throttle_mv = 3_600
        return now_us


def test_memory_is_not_collected_while_the_motor_drives():
    played = Run([])
    played.board = ThrottledBoard([0, *[number * 5_000 for number in range(900)]])
    played.play()
    assert "write" in played.board.story
    assert played.heap.collections == 0


class Talk(Link):
    """A link that writes down its turns, and is over or takes time when a test says."""

    def __init__(self, takes_time: bool = False, turns: int = 1_000):
        self.takes_time = takes_time
        self.turns = turns
        self.resting: list[bool] = []
        self.at_us: list[int] = []

    def pump(self, resting: bool, now_us: int) -> bool:
        self.resting.append(resting)
        self.at_us.append((int(now_us) - START_US) % WRAP_US)
        return self.takes_time

    def must_end(self) -> bool:
        return len(self.at_us) >= self.turns


def talked(spans_us: list, link: Talk) -> Run:
    played = Run(spans_us)
    with pytest.raises(Unplugged):
        run(played.board, played.controller, Inputs(), played.counters, played.heap, link)
    return played


def test_the_link_gets_a_turn_only_when_more_than_a_millisecond_is_left():
    link = Talk()
    talked([0, 0, 1, 3_999, 4_000, 4_999, 5_000, 6_000], link)
    assert link.at_us == [1, 3_999, 6_000]


def test_on_a_board_that_is_always_late_the_link_gets_a_turn_after_every_second_step():
    link = Talk()
    played = talked([0, *(number * 5_001 for number in range(6))], link)
    assert len(played.board.stepped_us) == 6
    assert link.at_us == [5_001, 3 * 5_001, 5 * 5_001]


def test_a_turn_in_time_is_waited_for_as_long_again():
    link = Talk()
    talked([0, 0, 1_000, 5_000, 10_000], link)
    assert link.at_us == [1_000, 10_000]


def test_the_link_may_end_a_loop_that_is_always_late():
    played = Run([0, *(number * 5_000 for number in range(21))])
    run(played.board, played.controller, Inputs(), played.counters, played.heap, Talk(turns=1))
    assert len(played.board.stepped_us) == 2
    assert played.board.story[-1] == "write safe"


def test_the_link_is_told_whether_the_bicycle_rests():
    link = Talk()
    talked([0, 0, 1_000, 5_000, 6_000], link)
    assert link.resting == [True, True]
    link = Talk()
    played = Run([])
    played.board = RollingBoard([0, *[number * 2_500 for number in range(1_000)]])
    with pytest.raises(Unplugged):
        run(played.board, played.controller, Inputs(), played.counters, played.heap, link)
    assert link.resting[0]
    assert not link.resting[-1]


def test_before_the_first_step_nothing_is_known_to_rest():
    link = Talk()
    talked([10_000, 5_000], link)  # The first reading sets when the first step is due; the second is sooner.
    assert link.resting == [False]


def test_a_link_that_is_over_ends_the_loop_with_the_output_safe():
    played = Run([0, 0, 1_000, 1_500, 5_000])
    run(played.board, played.controller, Inputs(), played.counters, played.heap, Talk(turns=2))
    assert played.board.stepped_us == [0]
    assert played.board.story[-1] == "write safe"
    assert played.board.story[-2] == "read"


def test_the_link_of_the_bench_says_nothing_and_is_never_over():
    assert not Link().pump(True, 0)
    assert not Link().must_end()


def test_lateness_that_the_link_chose_at_rest_is_no_overrun_and_any_other_is():
    for takes_time, overruns in ((True, 1), (False, 2)):
        played = talked([0, 0, 1_000, 40_000, 60_000], Talk(takes_time))
        assert played.counters.overruns == overruns
        assert played.board.stepped_us == [0, 40_000, 60_000]


def test_one_turn_of_the_link_that_took_time_excuses_until_the_next_step():
    class Once(Talk):
        def pump(self, resting: bool, now_us: int) -> bool:
            super().pump(resting, now_us)
            return len(self.at_us) == 1

    assert talked([0, 0, 1_000, 2_000, 40_000], Once()).counters.overruns == 0


def test_lateness_at_the_start_is_no_overrun():
    played = Run([0, 30_000, 35_000, 50_000]).play()
    assert played.board.stepped_us == [30_000, 35_000, 50_000]
    assert played.counters.overruns == 1


def test_lateness_after_a_collection_is_no_overrun():
    steps_us = [number * 5_000 for number in range(400)]
    played = Run([0, *steps_us, 2_050_000, 2_070_000]).play()
    assert played.heap.collections == 1
    assert played.counters.overruns == 1  # The second one only.


def test_a_wish_to_clear_lasts_for_one_step():
    wishes = []

    class Told(Controller):
        def step(self, inputs: Inputs, now_us: int) -> Outputs:
            wishes.append(inputs.clear_requested)
            return super().step(inputs, now_us)

    played = Run([0, 0, 5_000, 10_000])
    played.controller = Told(settings_with(), START_US)
    inputs = Inputs()
    inputs.clear_requested = True
    with pytest.raises(Unplugged):
        run(played.board, played.controller, inputs, played.counters, played.heap)
    assert wishes == [True, False, False]


def test_a_step_takes_from_its_reading_to_the_next_one():
    played = Run([0, 0, 700, 1_500, 5_000, 5_900]).play()
    assert played.counters.worst_us == 900
    assert Run([0, 0, 700, 1_500]).play().counters.worst_us == 700
    assert Run([0, 0, 200_000]).play().counters.worst_us == 65_535
    assert Run([0, 0]).play().counters.worst_us == 0


def test_whatever_a_step_raises_the_output_is_made_safe():
    played = Run([0, 0, 5_000])

    class Broken(Controller):
        def step(self, inputs: Inputs, now_us: int) -> Outputs:
            raise RuntimeError

    played.controller = Broken(settings_with(), START_US)
    with pytest.raises(RuntimeError):
        run(played.board, played.controller, Inputs(), played.counters, played.heap)
    assert played.board.story == ["write safe", "read", "read", "write safe"]


def test_a_board_must_bring_its_three_methods():
    board = Board()
    with pytest.raises(NotImplementedError):
        board.read(Inputs())
    with pytest.raises(NotImplementedError):
        board.write(Outputs())
    with pytest.raises(NotImplementedError):
        board.feed_watchdog()
