"""What a magnet ring and Hall switches show, against encoder practice and figures from outside."""

from itertools import pairwise

import pytest

from host_sim.plant.pedal_sensor import PedalSensor

TURN_RAD = 6.283185307179586
DEGREE = TURN_RAD / 360.0

# Transition table index 4 * before + now with state 2 * A + B: counts of one quadrature cycle sum to +-4 and
# double changes are invalid. Encoder practice; the table is in quadencoder.cpp of rydub/gametech_console,
# others use the opposite sign, so direction is a convention: A first is called forward here.
COUNTS = [0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0]


def _ring(kind="two_channel", pulses=10, a_leads=True, duty=0.5, phase_deg=90.0, errors=(), play_deg=0.0):
    return PedalSensor(kind, pulses, a_leads, duty, phase_deg, list(errors), play_deg)


def _turn(sensor, from_rad, to_rad, step_deg=0.5):
    """Turn in small steps; return (levels, angle in degrees) of each edge."""
    edges = []
    steps = max(round(abs(to_rad - from_rad) / DEGREE / step_deg), 1)
    for index in range(steps):
        start_rad = from_rad + (to_rad - from_rad) * index / steps
        end_rad = from_rad + (to_rad - from_rad) * (index + 1) / steps
        # Time runs as the angle does, so an edge time is an edge angle.
        for edge in range(
            sensor.advance(start_rad, end_rad, start_rad / DEGREE, (end_rad - start_rad) / DEGREE)
        ):
            edges.append((sensor.edge_levels[edge], sensor.edge_times_s[edge]))
    return edges


def _counted(first_levels, edges):
    """Sum the transition table over the edges; bit 0 is A, bit 1 is B."""
    total, before = 0, first_levels
    for levels, _ in edges:
        index = 4 * (2 * (before & 1) + (before >> 1)) + 2 * (levels & 1) + (levels >> 1)
        total += COUNTS[index]
        before = levels
    return total


@pytest.mark.parametrize(("pulses", "edges_per_turn"), [(6, 24), (10, 40), (24, 96), (32, 128)])
def test_two_channels_give_four_edges_per_magnet_and_turn(pulses, edges_per_turn):
    # x4 decoding quadruples the resolution: motioncontroltips.com, encoders for speed measurement.
    assert len(_turn(_ring(pulses=pulses), 0.0, TURN_RAD)) == edges_per_turn


def test_forward_the_levels_go_a_both_b_none_when_a_leads():
    edges = _turn(_ring(), 0.0, TURN_RAD)
    assert [levels for levels, _ in edges[:8]] == [1, 3, 2, 0, 1, 3, 2, 0]


def test_backward_the_levels_go_b_both_a_none_when_a_leads():
    edges = _turn(_ring(), 0.0, -TURN_RAD)
    assert [levels for levels, _ in edges[:8]] == [2, 3, 1, 0, 2, 3, 1, 0]


def test_with_b_leading_forward_looks_as_backward_did():
    edges = _turn(_ring(a_leads=False), 0.0, TURN_RAD)
    assert [levels for levels, _ in edges[:8]] == [2, 3, 1, 0, 2, 3, 1, 0]


@pytest.mark.parametrize(("turns", "count"), [(1, 40), (-1, -40), (3, 120)])
def test_the_transition_table_counts_the_turns(turns, count):
    sensor = _ring()
    before = sensor.levels
    assert _counted(before, _turn(sensor, 0.0, turns * TURN_RAD)) == count * COUNTS[4 * 0 + 2 * 1]


def test_no_edge_changes_both_channels():
    sensor = _ring(duty=0.42, phase_deg=70.0, errors=[1.5, -2.0, 0.0, 2.5, -1.0, 0.5, -0.5, 2.0, -2.5, 1.0])
    before = sensor.levels
    for levels, _ in _turn(sensor, 0.0, 2.0 * TURN_RAD):
        assert (levels ^ before) in (1, 2)
        before = levels


def test_edges_lie_at_the_same_angles_forward_and_backward():
    sensor = _ring(duty=0.4, phase_deg=80.0)
    forward = [angle for _, angle in _turn(sensor, 0.0, TURN_RAD)]
    backward = [angle for _, angle in _turn(sensor, TURN_RAD, 0.0)]
    assert backward[::-1] == pytest.approx(forward, abs=1e-9)


def test_b_follows_a_by_the_phase():
    # 10 magnets: a pitch is 36 degrees; 90 electrical degrees are 9 degrees of the crank.
    edges = _turn(_ring(), 0.0, TURN_RAD)
    assert edges[1][1] - edges[0][1] == pytest.approx(9.0, abs=1e-9)
    edges = _turn(_ring(phase_deg=60.0), 0.0, TURN_RAD)
    assert edges[1][1] - edges[0][1] == pytest.approx(6.0, abs=1e-9)


def test_one_percent_of_duty_moves_the_falling_edge_by_3_6_electrical_degrees_against_the_rising_one():
    # 3.6 degrees per 1 % of duty mismatch, 18 degrees for 5 %: motionsensors.com/?p=7777.
    def high_electrical_degrees(duty):
        edges = _turn(_ring("one_channel", duty=duty), 0.0, TURN_RAD)
        return (edges[1][1] - edges[0][1]) * 10.0

    assert high_electrical_degrees(0.51) - high_electrical_degrees(0.50) == pytest.approx(3.6, abs=1e-6)
    assert high_electrical_degrees(0.55) - high_electrical_degrees(0.50) == pytest.approx(18.0, abs=1e-6)


def test_one_channel_moves_only_bit_0_and_looks_the_same_both_ways():
    forward = _turn(_ring("one_channel", pulses=6), 0.0, TURN_RAD)
    backward = _turn(_ring("one_channel", pulses=6), 0.0, -TURN_RAD)
    assert [levels for levels, _ in forward] == [1, 0] * 6
    assert [levels for levels, _ in backward] == [1, 0] * 6


@pytest.mark.parametrize(("turns", "high_percent"), [(1, 70.0), (-1, 30.0)])
def test_a_duty_coded_part_is_high_for_its_duty_forward_and_for_the_rest_backward(turns, high_percent):
    # Direction by the high share: common practice, no source.
    edges = _turn(_ring("duty_coded", duty=0.7), 0.0, turns * 2.0 * TURN_RAD)
    # Whole pulses only, from rise to rise, past the first pitch, in which the direction is not yet known.
    rise = 2 if edges[2][0] == 1 else 3
    for first in range(rise, len(edges) - 2, 2):
        (up, start), (down, end), (_, following) = edges[first : first + 3]
        assert (up, down) == (1, 0)
        assert 100.0 * (end - start) / (following - start) == pytest.approx(high_percent, abs=1e-6)
    assert len(edges) == 40 or turns == -1


def test_a_missing_magnet_leaves_a_gap_of_one_pitch_and_adds_no_edge():
    sensor = _ring()
    sensor.set_magnet(3, 0.0)
    edges = _turn(sensor, 0.0, TURN_RAD)
    gaps = [following - angle for (_, angle), (_, following) in pairwise(edges)]
    assert len(edges) == 36
    assert max(gaps) == pytest.approx(9.0 + 36.0, abs=1e-6)


def test_a_weak_magnet_narrows_its_pulse_and_loses_no_edge():
    # A field peak nearer to the switching point narrows the pulse (sine field, computed).
    sensor = _ring("one_channel")
    sensor.set_magnet(2, 0.5)
    edges = _turn(sensor, 0.0, TURN_RAD)
    widths = [edges[index + 1][1] - edges[index][1] for index in range(0, 20, 2)]
    assert len(edges) == 20
    assert widths[2] == pytest.approx(9.0, abs=1e-6)
    assert widths[3] == pytest.approx(18.0, abs=1e-6)


def test_rocking_less_than_the_hysteresis_gives_one_edge_and_then_none():
    # After a reversal an edge comes back displaced by the hysteresis band (derived).
    sensor = _ring(play_deg=1.0)
    # The first forward edge lies at 36 * 0.125 = 4.5 degrees, half the play later at 5.
    assert len(_turn(sensor, 0.0, 5.05 * DEGREE)) == 1
    for _ in range(20):
        assert _turn(sensor, 5.05 * DEGREE, 4.10 * DEGREE) == []
        assert _turn(sensor, 4.10 * DEGREE, 5.05 * DEGREE) == []


def test_rocking_further_than_the_hysteresis_gives_the_edge_to_and_fro_net_nothing():
    sensor = _ring(play_deg=1.0)
    before = sensor.levels
    there = _turn(sensor, 0.0, 6.0 * DEGREE)
    back = _turn(sensor, 6.0 * DEGREE, 3.0 * DEGREE)
    assert there[0][1] - back[0][1] == pytest.approx(1.0, abs=1e-9)
    assert _counted(before, there + back) == 0
    assert sensor.levels == before


def test_magnet_errors_repeat_every_turn():
    # A once-per-turn pattern: derived. Magnets 0 and 1 stand 2 degrees further apart than a pitch.
    sensor = _ring("one_channel", errors=[-1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    first = [angle for _, angle in _turn(sensor, 0.0, TURN_RAD)]
    second = [angle for _, angle in _turn(sensor, TURN_RAD, 2.0 * TURN_RAD)]
    assert first[2] - first[0] == pytest.approx(38.0, abs=1e-6)
    assert second == pytest.approx([angle + 360.0 for angle in first], abs=1e-6)


# Pulse period at 30, 60, 90 rpm, computed: 8 magnets 250, 125, 83.3 ms; 24 magnets 83.3, 41.7, 27.8 ms.
@pytest.mark.parametrize(
    ("pulses", "rad_per_s", "period_ms"),
    [(8, 3.14159265, 250.0), (8, 9.42477796, 83.333), (24, 6.28318531, 41.667)],
)
def test_the_time_between_like_edges_is_the_pulse_period(pulses, rad_per_s, period_ms):
    sensor = _ring(pulses=pulses)
    rises_s, angle_rad, before = [], 0.0, sensor.levels
    for index in range(400):
        for edge in range(sensor.advance(angle_rad, angle_rad + rad_per_s * 0.005, index * 0.005, 0.005)):
            if sensor.edge_levels[edge] & 1 and not before & 1:
                rises_s.append(sensor.edge_times_s[edge])
            before = sensor.edge_levels[edge]
        angle_rad += rad_per_s * 0.005
    for earlier_s, later_s in pairwise(rises_s):
        assert (later_s - earlier_s) * 1000.0 == pytest.approx(period_ms, abs=0.001)
