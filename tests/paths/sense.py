"""Steps of sensing: crank, wheel, levers, supply, each from any state."""

from firmware.sense.crank import RUN_MAX, Crank
from firmware.sense.levers import Selector, Throttle
from firmware.sense.rotation import Wheel
from firmware.sense.supply import READING_MAX, Supply
from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS
from firmware.ticks import TICKS_MAX_US, ticks_add_us
from host_sim.proof.domain import SPEED_MAX_MM_PER_S, any_settings
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_sense import (
    EDGE_GAP_MAX_US,
    PERIOD_US,
    SHORTEST_PITCH_US,
    any_crank,
    check_crank,
    one_way,
)
from host_sim.proof.numbers import Numbers


def _all_edges_at(crank: Crank, time_us: int) -> None:
    """Set the last edge of every kind to `time_us`, one by one: a compiled crank keeps its list."""
    for kind in range(4):
        Inside(crank).kind_us[kind] = time_us


def crank_two_channels(ex: Numbers) -> None:
    """Any accepted edge of a two-channel crank, either lead."""
    crank = any_crank(ex, TWO_CHANNELS)
    inner = Inside(crank)
    one_way(ex, crank)
    before = crank.levels
    ex.assume(inner.last_position == (before ^ (before >> 1)))
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    since_us = ex.integer("since", 0, EDGE_GAP_MAX_US)
    age_us = ex.integer("age", 0, 4 * EDGE_GAP_MAX_US)
    inner.last_edge_us = last_us
    time_us = ticks_add_us(last_us, since_us)
    # Edges of the same kind are four edges apart within a run.
    _all_edges_at(crank, ticks_add_us(time_us, PERIOD_US - 1 - age_us))
    levels = ex.integer("after", 0, 3)
    ex.assume(levels != before)
    backward_run, forward_run = crank.backward_run, crank.forward_run
    gained_us = ex.integer("gained", 0, TICKS_MAX_US)
    crank.last_forward_us = gained_us
    started, behind = inner.started, inner.behind
    inner.accept(levels, time_us)
    check_crank(ex, crank)
    ex.check(not crank.standing, "an edge ends a standstill")
    moved = ((levels ^ (levels >> 1)) - (before ^ (before >> 1))) & 3
    if started and moved == inner.backward_step:
        more = backward_run + 1 if backward_run < RUN_MAX else RUN_MAX
        ex.check(crank.backward_run == more, "a backward edge lengthens the backward run")
        ex.check(crank.forward_run == 0, "a backward edge ends the forward run")
        ex.check(not crank.ground_gained, "a backward edge gains no ground")
    if crank.ground_gained:
        ex.check(started and moved + inner.backward_step == 4, "only a forward edge gains ground")
        ex.check(behind == 0, "ground is gained only when no edge is to be made up")
        ex.check(crank.last_forward_us == time_us, "the time of the edge that gained ground is kept")
    else:
        ex.check(crank.last_forward_us == gained_us, "without ground gained the last time stays")
    if moved == 2 and started:
        ex.check(crank.forward_run == 0, "a double change ends the run")
    if crank.forward_run > forward_run:
        ex.check(crank.forward_run == forward_run + 1, "a run grows by one edge at a time")
    ex.outcome(
        forward=crank.forward_run, backward=crank.backward_run, behind=inner.behind, pitch=crank.pitch_us
    )


def crank_one_channel(ex: Numbers) -> None:
    """Any accepted edge of a one-channel crank."""
    crank = any_crank(ex, ONE_CHANNEL)
    inner = Inside(crank)
    one_way(ex, crank)
    ex.assume(crank.backward_run == 0)
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    pitch_us = 1 + ex.integer("pitch_age", 0, 2 * EDGE_GAP_MAX_US)
    pulse_us = 1 + ex.integer("pulse_age", 0, EDGE_GAP_MAX_US)
    ex.assume(pulse_us <= pitch_us)
    high = 1 - crank.levels
    inner.kind_us[high] = ticks_add_us(time_us, PERIOD_US - pitch_us)
    inner.kind_us[1 - high] = ticks_add_us(time_us, PERIOD_US - pulse_us)
    inner.odd_before = ex.boolean("odd_before")
    odd_before, forward_run = inner.odd_before, crank.forward_run
    inner.accept(high, time_us)
    check_crank(ex, crank)
    ex.check(crank.backward_run == 0, "one channel never tells backward")
    if pitch_us < inner.shortest_pitch_us:
        ex.check(
            crank.forward_run <= 2 or not crank.ground_gained, "noise quicker than any legs gains nothing"
        )
        ex.check(crank.forward_run <= forward_run or crank.forward_run <= 2, "nor does it build a run")
    if forward_run >= 2 and (pulse_us * 8 < pitch_us - 7 or pulse_us * 8 > pitch_us * 7 + 7):
        ex.check(
            not crank.ground_gained, "a pulse of under an eighth of a pitch or over seven gains no ground"
        )
        ex.check(not crank.pitch_measured, "and measures no pitch")
        if odd_before:
            ex.check(crank.forward_run == 0, "two such pulses in a row end the run")
        else:
            ex.check(inner.odd_before, "one is remembered")
    ex.outcome(forward=crank.forward_run, behind=inner.behind, pitch=crank.pitch_us)


def crank_duty_coded(ex: Numbers) -> None:
    """Any accepted edge of a duty-coded crank."""
    crank = any_crank(ex, DUTY_CODED)
    inner = Inside(crank)
    one_way(ex, crank)
    inner.forward_duty_high = ex.boolean("high_is_forward")
    inner.rise_seen = ex.boolean("rise_seen")
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    rise_age_us = ex.integer("rise_age", 0, 2 * EDGE_GAP_MAX_US)
    fall_age_us = ex.integer("fall_age", 0, 3 * EDGE_GAP_MAX_US)
    inner.rise_us = ticks_add_us(time_us, PERIOD_US - 1 - rise_age_us)
    inner.fall_us = ticks_add_us(time_us, PERIOD_US - 1 - fall_age_us)
    inner.accept(1 - crank.levels, time_us)
    check_crank(ex, crank)
    if crank.levels == 0:
        ex.check(not crank.ground_gained, "a falling edge alone tells no direction")
    ex.outcome(
        forward=crank.forward_run, backward=crank.backward_run, behind=inner.behind, pitch=crank.pitch_us
    )


def crank_glitch(ex: Numbers) -> None:
    """An edge whose levels do not last: a pulse within the glitch time changes only a count."""
    crank = any_crank(ex, TWO_CHANNELS)
    one_way(ex, crank)
    ex.assume(Inside(crank).started)
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    gap_us = ex.integer("gap", 0, SHORTEST_PITCH_US[1] // 16)
    ex.assume(gap_us < Inside(crank).glitch_us)
    before, forward_run, backward_run = crank.levels, crank.forward_run, crank.backward_run
    wrong = ex.integer("wrong", 0, 3)
    ex.assume(wrong != before)
    rejected = crank.rejected
    crank.edge(wrong, time_us)
    crank.edge(before, ticks_add_us(time_us, gap_us))
    crank.settle(ticks_add_us(time_us, 6000))
    ex.check(crank.levels == before, "the levels are what they were")
    ex.check(crank.backward_run == backward_run or crank.standing, "the backward run is what it was")
    ex.check(crank.forward_run == forward_run or crank.standing, "the forward run is what it was")
    ex.check(crank.rejected == (rejected + 1) & 0xFFFF, "the glitch was counted")
    ex.outcome(levels=crank.levels, rejected=crank.rejected)


def wheel(ex: Numbers) -> None:
    """Any wheel edge, then any check."""
    roll = Wheel(500, 64)
    inner = Inside(roll)
    rotation = Inside(inner.rotation)
    rotation.scale = ex.integer("scale", 781_250, 300_000_000)
    inner.shortest_us = ex.integer("shortest", 280, 108_000)
    # What the constructor derives from the scale: the period at 100 km/h, rounded down to tens.
    ex.assume(inner.shortest_us == (rotation.scale // 27_778) * 10)
    inner.running = ex.boolean("running")
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    inner.last_us = last_us
    gap_us = ex.integer("gap", 0, 4_000_000)
    time_us = ticks_add_us(last_us, gap_us)
    was_running = inner.running
    roll.begin_step()
    roll.edge(ex.integer("level", 0, 1), time_us)
    roll.settle(ticks_add_us(time_us, ex.integer("after", 0, 10_000)))
    ex.check(roll.speed_mm_per_s >= 0, "a speed is not negative")
    ex.check(roll.speed_mm_per_s <= SPEED_MAX_MM_PER_S, "a speed is bounded")
    if was_running and gap_us < inner.shortest_us:
        ex.check(not roll.pulsed, "a pulse quicker than any wheel is a bounce")
    ex.outcome(speed=roll.speed_mm_per_s, pulsed=roll.pulsed)


def throttle(ex: Numbers) -> None:
    """Any settings, any voltage, whether or not it was seen at rest."""
    names = ("throttle_open_mv", "throttle_rest_mv", "throttle_full_mv", "throttle_short_mv")
    settings = any_settings(ex, names)
    lever = Throttle(settings)
    lever.rest_seen = ex.boolean("rest_seen")
    seen = lever.rest_seen
    throttle_mv = ex.integer("voltage", 0, 5000)
    lever.step(throttle_mv)
    ex.check(lever.share_permille >= 0, "a share is not negative")
    ex.check(lever.share_permille <= 1000, "a share is at most the whole")
    if throttle_mv < settings.throttle_open_mv or throttle_mv > settings.throttle_short_mv:
        ex.check(lever.share_permille == 0, "outside the window the share is nothing")
    if not seen and throttle_mv > settings.throttle_rest_mv:
        ex.check(lever.share_permille == 0, "before it was seen at rest the share is nothing")
    ex.outcome(share=lever.share_permille, seen=lever.rest_seen)


def selector(ex: Numbers) -> None:
    """Any selector of two to six positions, any voltage."""
    names = ("selector_open_mv", "selector_low_mv", "selector_high_mv", "selector_short_mv")
    lever = Selector(any_settings(ex, names))
    positions = ex.integer("positions", 2, 6)
    Inside(lever).positions = positions
    for index in range(6):
        Inside(lever).shares_permille[index] = ex.integer("share " + str(index), 0, 1000)
    lever.position = ex.integer("position", 0, 5)
    ex.assume(lever.position < positions)
    lever.step(ex.integer("voltage", 0, 5000))
    ex.check(lever.position >= 0, "a position is not negative")
    ex.check(lever.position < positions, "a position exists")
    ex.check(lever.share_permille >= 0, "a share is not negative")
    ex.check(lever.share_permille <= 1000, "a share is at most the whole")
    ex.outcome(position=lever.position, share=lever.share_permille)


def supply(ex: Numbers) -> None:
    """Any readings, any state of the two filters."""
    side = Supply()
    inner = Inside(side)
    inner.started = ex.boolean("started")
    inner.voltage_sum = ex.integer("voltage_sum", 0, READING_MAX * 32)
    inner.current_sum = ex.integer("current_sum", 0, READING_MAX * 4)
    side.step(ex.integer("battery", -1000, 200_000), ex.integer("current", -1000, 200_000))
    ex.check(inner.voltage_sum >= 0, "the voltage sum is not negative")
    ex.check(inner.voltage_sum <= READING_MAX * 32 + 31, "the voltage sum is bounded")
    ex.check(inner.current_sum <= READING_MAX * 4 + 3, "the current sum is bounded")
    ex.check(side.power_w >= 0, "power is not negative")
    ex.check(side.power_w <= 10_000, "power is bounded")
    ex.outcome(voltage=side.battery_mv, current=side.current_ma, power=side.power_w)
