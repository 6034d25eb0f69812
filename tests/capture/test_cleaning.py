"""Noise and bounces are removed and counted; magnets stay, however fast, narrow or weak."""

import numpy as np
import pytest

from host_sim.bench.faults import FaultSpec
from host_sim.capture.cleaning import clean_channel
from host_sim.capture.gathering import gather
from tests.capture.identification.truth import record
from tests.capture.looking import noise, sensor, weak

MS = 1_000_000


def _clean(changes_ms, first_level=0):
    times = np.array([0, *(round(change * MS) for change in changes_ms)], np.int64)
    levels = ((np.arange(len(times)) + first_level) % 2).astype(np.uint8)
    return clean_channel(times, levels, 1)


def _channels(turned):
    recorded = record(turned)
    gathered = gather(recorded.source)
    channels = [clean_channel(gathered.times_ns, gathered.levels, bit) for bit in (1, 2)]
    return channels, recorded.turns * turned.pulses


def test_a_pulse_of_one_millisecond_is_noise_and_leaves_nothing():
    channel = _clean([100, 200, 230, 231, 300, 400])
    assert channel.times_ns.tolist() == [100 * MS, 200 * MS, 300 * MS, 400 * MS]
    assert channel.noise_ns.tolist() == [230 * MS]


def test_noise_inside_a_short_pulse_does_not_take_the_pulse_with_it():
    # High for 4.2 ms with a hole of half a millisecond: three consecutive runs are short, the pulse is not.
    channel = _clean([100, 101.5, 102, 104.2, 200, 204.2])
    assert channel.times_ns.tolist() == [100 * MS, 104_200_000, 200 * MS, 204_200_000]


def test_bounces_leave_the_first_edge():
    channel = _clean([100, 100.6, 100.9, 101.2, 101.5, 101.8, 102.1, 200])
    assert channel.times_ns.tolist() == [100 * MS, 200 * MS]
    assert channel.noise_ns.tolist() == []


def test_levels_are_those_after_each_change():
    channel = _clean([100, 200], first_level=1)
    assert channel.first_level == 1
    assert channel.level_at(np.array([0, 99 * MS, 100 * MS, 150 * MS, 200 * MS])).tolist() == [1, 1, 0, 0, 1]
    assert channel.rises_ns.tolist() == [200 * MS]
    assert channel.falls_ns.tolist() == [100 * MS]


@pytest.mark.parametrize(
    ("pulses", "duty_percent", "rpm"),
    [(32, 20.0, 120.0), (32, 80.0, 120.0), (64, 20.0, 90.0), (4, 50.0, 15.0)],
)
def test_no_magnet_is_lost_however_narrow_and_quick(pulses, duty_percent, rpm):
    channels, passed = _channels(
        sensor(pulses=pulses, duty_percent=duty_percent, rpm=rpm, phase_deg=60.0, seconds=10.0)
    )
    for channel in channels:
        assert abs(len(channel.rises_ns) - passed) < 1.5
        assert len(channel.noise_ns) <= 1  # The recording may end within a pulse.


def test_noise_is_counted_and_no_magnet_is_lost_to_it():
    channels, passed = _channels(sensor(faults=(noise(20.0),)))
    assert [abs(len(channel.rises_ns) - passed) < 2.0 for channel in channels] == [True, True]
    # 600 pulses in 30 s on two channels; some fall together, some into an edge.
    assert 520 <= sum(len(channel.noise_ns) for channel in channels) <= 620


def test_a_weak_magnet_that_gives_pulses_as_short_as_noise_is_still_a_magnet():
    turned = sensor(pulses=20, rpm=110.0, duty_percent=20.0, phase_deg=60.0, faults=(weak(3, 0.35),))
    channels, passed = _channels(turned)
    assert abs(len(channels[0].rises_ns) - passed) < 1.5


def test_bouncing_contacts_are_told_from_noise():
    assert [one.bounces for one in _channels(sensor(faults=(FaultSpec("bounce"),)))[0]] == [True, True]
    assert [one.bounces for one in _channels(sensor(faults=(noise(20.0),)))[0]] == [False, False]
