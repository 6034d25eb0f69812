"""Inspections of captures against figures from outside: decoding, resolution, phase and duty, cadence."""

import numpy as np
import pytest

from firmware.settings import Settings
from host_sim.capture.board_count import TRANSITIONS, board_count, table_count
from host_sim.capture.cleaning import clean_channel
from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.edges import EdgeChunk
from host_sim.capture.order_words import PHASE_PER_DUTY_PERCENT_DEG
from tests.capture.identification.truth import Sensor, record, uneven_errors_deg

# Index 4 * before + now, state 2 * A + B: quadencoder.cpp of rydub/gametech_console. Doubles are 0 there.
PUBLISHED = [0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0]


def _train(rpm, pulses, turns, tick_ns=1, order=(0, 1, 3, 2), pattern=None):
    """Return an exact quadrature train; `pattern` moves magnet i by pattern[i] of a pitch."""
    edges = 4 * pulses * turns
    place = np.arange(edges + 1, dtype=np.float64) / 4.0
    if pattern is not None:
        place += np.array(pattern)[np.floor(place).astype(int) % pulses]
    times_ns = np.round(place * 60e9 / (pulses * rpm) / tick_ns).astype(np.int64) * tick_ns
    levels = np.array(order, np.uint8)[np.arange(edges + 1) % 4]
    return EdgeChunk(times_ns, levels)


def _inspected(chunk, turns=None):
    return inspect_edges(lambda: iter([chunk]), 2, Told((0.0, 1e6), turns))


def test_the_count_beside_the_firmware_is_the_published_table():
    doubles = [3, 6, 9, 12]
    assert [0 if index in doubles else move for index, move in enumerate(TRANSITIONS.tolist())] == PUBLISHED
    assert [TRANSITIONS[index] for index in doubles] == [2, 2, 2, 2]
    table = TRANSITIONS.reshape(4, 4)
    single = np.where(table == 2, 0, table)
    assert (single == -single.T).all()


@pytest.mark.parametrize("order", [(0, 1, 3, 2), (0, 2, 3, 1)])
def test_one_turn_of_ten_magnets_is_forty_counts_by_firmware_and_table(order):
    # x4 decoding quadruples the resolution: motioncontroltips.com, encoders for speed measurement. Direction
    # is a convention, sources have either sign: A first counts up here.
    chunk = _train(60.0, 10, 1, order=order)
    sign = 1 if order[1] == 1 else -1
    a, b = (clean_channel(chunk.times_ns, chunk.levels, bit) for bit in (1, 2))
    assert table_count(a, b, True).net == sign * 40
    # The board does not know the levels before its first edge, so one edge at most is not counted.
    assert abs(board_count([chunk], Settings({"pulses_per_rev": 10})).net - sign * 40) <= 1


# T method: +-1 tick of the clock is dn = n^2 N dt / 60 rpm. Derived; 1 ms at 60 rpm: N 8 0.48, N 24 1.44 rpm.
@pytest.mark.parametrize(("pulses", "error_rpm"), [(8, 0.48), (12, 0.72), (24, 1.44), (32, 1.92)])
def test_the_smallest_step_of_a_pitch_timed_in_milliseconds_is_the_t_methods(pulses, error_rpm):
    pitch_ms = 60_000 / (60 * pulses)
    assert 60_000 / (pulses * (pitch_ms - 1.0)) - 60.0 == pytest.approx(error_rpm, rel=0.07)
    # Over a whole turn a tick weighs N times less: 60^2 / 60000 = 0.06 rpm, whatever the ring.
    cadence = _inspected(_train(60.0, pulses, 20, tick_ns=1_000_000), turns=20).cadence
    assert cadence.most - 60.0 <= 0.0601
    assert 60.0 - cadence.least <= 0.0601


# M method: counting in a window has a step of 60 / (N T) rpm: N 8 in 0.1 s 75 rpm, N 32 in 1 s 1.875 rpm.
@pytest.mark.parametrize(
    ("pulses", "window_s", "step_rpm"), [(8, 0.1, 75.0), (12, 0.25, 20.0), (32, 1.0, 1.875)]
)
def test_timing_turns_beats_the_m_methods_step(pulses, window_s, step_rpm):
    assert 60.0 / (pulses * window_s) == pytest.approx(step_rpm)
    cadence = _inspected(_train(47.0, pulses, 20), turns=20).cadence
    assert cadence.median == pytest.approx(47.0, abs=step_rpm / 100.0)


# Motion Sensors HD guide (motionsensors.com/?p=7777): 3.6 degrees of phase a percent of mismatch, 5 % is 18.
@pytest.mark.parametrize(("mismatch_percent", "phase_deg"), [(1.0, 3.6), (5.0, 18.0)])
def test_a_mismatch_of_duty_moves_the_phase_of_one_edge_by_3_6_degrees_a_percent(mismatch_percent, phase_deg):
    assert mismatch_percent * PHASE_PER_DUTY_PERCENT_DEG == pytest.approx(phase_deg)
    # B is high for longer by the mismatch, its rise where it was: only its fall moves.
    pitch_ns, pitches = 100_000_000, 200
    starts = np.arange(pitches) * pitch_ns
    falls = int((0.75 + mismatch_percent / 100.0) * pitch_ns)
    steps = np.array([0, pitch_ns // 4, pitch_ns // 2, falls])
    times = (starts[:, None] + steps).ravel()
    chunk = EdgeChunk(times, np.tile(np.array([1, 3, 2, 0], np.uint8), pitches))
    found = _inspected(chunk)
    difference = found.duty["B"].value - found.duty["A"].value
    assert 360.0 * difference == pytest.approx(phase_deg, abs=0.2)


# Cycling Speed and Cadence: turns and times in 1/1024 s; 1 turn from 1024 to 2048 is 60 rpm; across the wrap
# of 16 bits, 65000 to 164, 700 ticks, 87.771 rpm. Computed from the GATT description of csc_measurement.
@pytest.mark.parametrize(("before", "after", "rpm"), [(1024, 2048, 60.0), (65000, 164, 87.771)])
def test_a_turn_has_the_cadence_that_a_bluetooth_collector_would_work_out(before, after, rpm):
    turn_s = ((after - before) & 0xFFFF) / 1024.0
    cadence = _inspected(_train(60.0 / turn_s, 10, 10), turns=10).cadence
    assert cadence.median == pytest.approx(rpm, abs=0.001)


def test_pitch_errors_come_back_once_a_turn_and_cancel_over_a_whole_turn():
    # Pitch error repeats every revolution, crank speed ripples twice a revolution, and a mean over a whole
    # turn cancels the first: from memory, and derived.
    pattern = [0.0, 0.05, -0.04, 0.02, -0.05, 0.03, 0.0, -0.02]
    found = _inspected(_train(60.0, 8, 30, pattern=pattern))
    assert (found.pulses.value, found.pulses.sure) == (8, True)
    assert found.cadence.least == pytest.approx(60.0, abs=0.001)
    assert found.cadence.most == pytest.approx(60.0, abs=0.001)


def test_a_magnet_too_weak_to_switch_loses_a_pulse_and_adds_none():
    # No toggling if the field's peak is below the operate point: a lost pulse, not an extra one. Computed.
    from host_sim.bench.faults import FaultSpec

    errors = uneven_errors_deg(10, 0.02, 1)
    gone = record(Sensor(errors_deg=errors, faults=(FaultSpec("magnet weak", magnet=4, strength=0.0),)))
    whole = record(Sensor(errors_deg=errors))
    edges = [sum(len(chunk.times_ns) for chunk in one.chunks) for one in (gone, whole)]
    assert edges[0] == pytest.approx(0.9 * edges[1], abs=4)
    assert inspect_edges(gone.source, 2, Told()).missing.value == [4]
