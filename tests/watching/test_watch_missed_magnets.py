"""A missed magnet is noticed by its doubled pitch, and uneven pedalling is not mistaken for it."""

import pytest

from firmware.controller import Controller
from firmware.records import Outputs
from host_sim.bench.assemble import bench_for
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.watching.missed_magnets import MissedMagnets
from tests.ride.riding import bike_with, recorded


def told(pitches: list[int], direction: str = "forward", pulses_per_rev: int = 0) -> MissedMagnets:
    """Feed a detector half a pitch of high and half of low for each pitch, in control periods."""
    found = MissedMagnets()
    found.pulses_per_rev = pulses_per_rev
    for pitch in pitches:
        for period in range(pitch):
            found.take(1 if period < pitch // 2 else 0, direction)
    found.take(1, direction)
    return found


def test_an_even_crank_misses_nothing():
    assert told([16] * 50).count == 0


@pytest.mark.parametrize(
    ("pitch", "missed"), [(25, 0), (26, 1), (32, 1), (40, 1), (41, 2), (48, 2), (54, 2), (55, 0)]
)
def test_one_pitch_of_twice_or_three_times_its_neighbours_is_a_missed_magnet(pitch, missed):
    assert told([16, 16, 16, pitch, 16, 16, 16]).count == missed


def test_a_rider_who_starts_slows_down_or_stops_misses_nothing():
    assert told([80, 60, 45, 36, 30, 26, 23, 20, 18, 17, 16]).count == 0
    assert told([16, 17, 18, 20, 24, 30, 40, 60, 90]).count == 0
    assert told([16, 16, 16, 17, 40, 70]).count == 0


def test_neighbours_that_disagree_say_nothing():
    assert told([9, 10, 14, 28, 20, 26]).count == 0
    assert told([16, 15, 17, 28, 17, 19]).count == 1


def test_a_crank_that_counts_as_standing_is_not_judged():
    assert told([16, 16, 16, 32, 16, 16, 16], direction="standing").count == 0
    assert told([16, 16, 16, 32, 16, 16, 16], direction="backward").count == 1


def test_two_torque_peaks_a_turn_are_not_taken_for_a_missing_magnet():
    # Six magnets: the crank is slow at both dead centres, once every three pitches.
    assert told([20, 24, 31] * 20).count == 0


def test_a_pitch_of_four_periods_is_judged_and_one_of_three_is_not():
    assert told([4, 4, 4, 8, 4, 4, 4]).count == 1
    assert told([3, 3, 3, 6, 3, 3, 3]).count == 0


def test_the_grid_of_the_samples_alone_makes_no_missed_magnet():
    assert told([4, 5, 4, 4, 5, 6, 4, 5, 4, 4, 6, 5, 4]).count == 0


def test_a_magnet_that_is_gone_is_missed_at_the_same_place_each_turn():
    turn = [16] * 10 + [32]  # Eleven pitches of a ring of twelve.
    found = told(turn * 4 + [16] * 3, pulses_per_rev=12)
    assert (found.count, found.repeated) == (4, 3)


def test_a_foot_that_rests_here_and_there_is_not_counted_as_the_same_place():
    found = told([16] * 7 + [32] + [16] * 14 + [32] + [16] * 5, pulses_per_rev=12)
    assert (found.count, found.repeated) == (2, 0)


def test_nothing_is_said_across_missing_samples_or_a_change_of_direction():
    for disturbance in ((None, "forward"), (0, "standing"), (0, "backward")):
        found = told([16] * 4)
        for _ in range(15):
            found.take(0, "forward")
        found.take(*disturbance)
        for _ in range(15):
            found.take(0, "forward")
        for pitch in [16] * 3:
            for period in range(pitch):
                found.take(1 if period < 8 else 0, "forward")
        assert found.count == 0, disturbance


class _Look(StepWatch):
    """Samples the levels as the telemetry does, ten control periods per frame."""

    def __init__(self, pulses_per_rev: int, magnet_gone: bool) -> None:
        self.found = MissedMagnets()
        self.found.pulses_per_rev = pulses_per_rev
        self.turns = 0.0
        self._gone = magnet_gone
        self._levels: list[int] = []

    def begin(self, world: World, controller: Controller) -> None:
        self._world, self._controller = world, controller
        if self._gone:
            world.pedal_sensor.set_magnet(2, 0.0)

    def look(self, outputs: Outputs) -> None:
        self.turns += max(self._world.rider.crank_rad_per_s, 0.0) * 0.005 / 6.283185307
        self._levels.append(self._world.crank_log.levels)
        if len(self._levels) == 10:
            crank = self._controller.crank
            turning = not crank.standing and (crank.forward_run > 0 or crank.backward_run > 0)
            direction = "backward" if crank.backward_run > 0 else "forward"
            for levels in self._levels:
                self.found.take(levels, direction if turning else "standing")
            self._levels.clear()


@pytest.mark.long
@pytest.mark.parametrize(
    ("bike", "pulses_per_rev", "missed_share"),
    # Turns while the rider starts, stops or changes pace don't count; six magnets see least of the pace.
    [("cargo_trike", 10, 0.931), ("tandem", 24, 0.953), ("folding", 6, 0.827)],
)
def test_on_a_recorded_ride_a_gone_magnet_is_missed_four_turns_of_five_and_a_whole_ring_never(
    bike, pulses_per_rev, missed_share
):
    for magnet_gone in (False, True):
        look = _Look(pulses_per_rev, magnet_gone)
        bench = bench_for(bike_with(bike), 1)
        bench.watch(look)
        bench.ride(recorded("road_ride_b"), 150.0)
        assert look.turns > 100
        if magnet_gone:
            assert look.found.count / look.turns == pytest.approx(missed_share, abs=0.001)
            assert look.found.repeated >= 0.9 * look.found.count
        else:
            assert look.found.count == 0
