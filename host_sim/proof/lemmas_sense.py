"""Lemmas about sensing: time, crank, wheel, levers, supply."""

from firmware.sense.crank import BEHIND_MAX, PITCH_MAX_US, RUN_MAX, Crank
from firmware.sense.levers import Selector, Throttle
from firmware.sense.rotation import Rotation, Wheel
from firmware.sense.supply import READING_MAX, Supply
from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS, Settings
from firmware.ticks import TICKS_MAX_US, ticks_add_us, ticks_diff_us
from host_sim.proof.domain import SPEED_MAX_MM_PER_S, any_settings
from host_sim.proof.numbers import Numbers

PERIOD_US = TICKS_MAX_US + 1
# What the constructor can derive from legal settings; `derived_numbers` shows it for all of them.
SHORTEST_PITCH_US = (3_750, 60_000)
STANDSTILL_US = (515_889, 4_250_000)
EDGE_GAP_MAX_US = 5_000_000  # Between two edges of a moving crank: its standstill time and one step.


def ticks(ex: Numbers) -> None:
    """Any two times."""
    later_us = ex.integer("later", 0, TICKS_MAX_US)
    earlier_us = ex.integer("earlier", 0, TICKS_MAX_US)
    difference_us = ticks_diff_us(later_us, earlier_us)
    ex.check(difference_us >= -(1 << 29), "a difference is not below -2**29")
    ex.check(difference_us < (1 << 29), "a difference is below 2**29")
    wrapped = (ex.wide(later_us) - earlier_us - difference_us) % PERIOD_US
    ex.check(wrapped == 0, "a difference is the true one but for whole periods")
    ex.outcome(difference=difference_us)


def ticks_forward(ex: Numbers) -> None:
    """Any time and any span up to half the period."""
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    span_us = ex.integer("span", 0, (1 << 29) - 1)
    later_us = ticks_add_us(time_us, span_us)
    ex.check(later_us >= 0, "a time is not negative")
    ex.check(later_us <= TICKS_MAX_US, "a time stays below the period")
    ex.check(
        ticks_diff_us(later_us, time_us) == span_us, "what was added is what is measured, across the wrap"
    )
    ex.outcome(later=later_us)


def any_crank(ex: Numbers, kind: int) -> Crank:
    """Return a crank in any state that its invariant allows."""
    crank = Crank(Settings({"sensor_kind": kind}), 0)
    crank._shortest_pitch_us = ex.integer("shortest", SHORTEST_PITCH_US[0], SHORTEST_PITCH_US[1])
    crank._glitch_us = ex.integer("glitch", SHORTEST_PITCH_US[0] // 16, SHORTEST_PITCH_US[1] // 16)
    crank._standstill_us = ex.integer("standstill", STANDSTILL_US[0], STANDSTILL_US[1])
    if kind == TWO_CHANNELS:
        crank._backward_step = 1 if ex.boolean("b_leads") else 3
        crank.levels = ex.integer("levels", 0, 3)
        crank._last_position = ex.integer("position", 0, 3)
    else:
        crank.levels = ex.integer("levels", 0, 1)
    crank._started = ex.boolean("started")
    crank.standing = ex.boolean("standing")
    crank._behind = ex.integer("behind", 0, BEHIND_MAX)
    crank.forward_run = ex.integer("forward_run", 0, RUN_MAX)
    crank.backward_run = ex.integer("backward_run", 0, RUN_MAX)
    crank.rejected = ex.integer("rejected", 0, 0xFFFF)
    return crank


def check_crank(ex: Numbers, crank: Crank) -> None:
    """Check the invariant of a crank."""
    ex.check(crank._behind >= 0, "the debt of edges is not negative")
    ex.check(crank._behind <= BEHIND_MAX, "the debt of edges is bounded")
    ex.check(crank.forward_run >= 0, "a run is not negative")
    ex.check(crank.forward_run <= RUN_MAX, "a forward run is bounded")
    ex.check(crank.backward_run <= RUN_MAX, "a backward run is bounded")
    ex.check(crank.pitch_us <= PITCH_MAX_US, "a pitch is bounded")
    ex.check(crank.rejected <= 0xFFFF, "the count of rejected edges wraps")
    both = crank.forward_run > 0 and crank.backward_run > 0
    ex.check(not both, "a crank never runs both ways")


def _one_way(ex: Numbers, crank: Crank) -> None:
    """A crank never has runs in both directions: part of its invariant."""
    if crank.forward_run > 0:
        ex.assume(crank.backward_run == 0)


def _all_edges_at(crank: Crank, time_us: int) -> None:
    """Set the last edge of every kind to `time_us`, one by one: a compiled crank keeps its list."""
    for kind in range(4):
        crank._kind_us[kind] = time_us


def crank_two_channels(ex: Numbers) -> None:
    """Any accepted edge of a two-channel crank, either lead."""
    crank = any_crank(ex, TWO_CHANNELS)
    _one_way(ex, crank)
    before = crank.levels
    ex.assume(crank._last_position == (before ^ (before >> 1)))
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    since_us = ex.integer("since", 0, EDGE_GAP_MAX_US)
    age_us = ex.integer("age", 0, 4 * EDGE_GAP_MAX_US)
    crank._last_edge_us = last_us
    time_us = ticks_add_us(last_us, since_us)
    # Edges of the same kind are four edges apart within a run.
    _all_edges_at(crank, ticks_add_us(time_us, PERIOD_US - 1 - age_us))
    levels = ex.integer("after", 0, 3)
    ex.assume(levels != before)
    backward_run, forward_run = crank.backward_run, crank.forward_run
    gained_us = ex.integer("gained", 0, TICKS_MAX_US)
    crank.last_forward_us = gained_us
    started, behind = crank._started, crank._behind
    crank._accept(levels, time_us)
    check_crank(ex, crank)
    ex.check(not crank.standing, "an edge ends a standstill")
    moved = ((levels ^ (levels >> 1)) - (before ^ (before >> 1))) & 3
    if started and moved == crank._backward_step:
        more = backward_run + 1 if backward_run < RUN_MAX else RUN_MAX
        ex.check(crank.backward_run == more, "a backward edge lengthens the backward run")
        ex.check(crank.forward_run == 0, "a backward edge ends the forward run")
        ex.check(not crank.ground_gained, "a backward edge gains no ground")
    if crank.ground_gained:
        ex.check(started and moved + crank._backward_step == 4, "only a forward edge gains ground")
        ex.check(behind == 0, "ground is gained only when no edge is to be made up")
        ex.check(crank.last_forward_us == time_us, "the time of the edge that gained ground is kept")
    else:
        ex.check(crank.last_forward_us == gained_us, "without ground gained the last time stays")
    if moved == 2 and started:
        ex.check(crank.forward_run == 0, "a double change ends the run")
    if crank.forward_run > forward_run:
        ex.check(crank.forward_run == forward_run + 1, "a run grows by one edge at a time")
    ex.outcome(
        forward=crank.forward_run, backward=crank.backward_run, behind=crank._behind, pitch=crank.pitch_us
    )


def crank_one_channel(ex: Numbers) -> None:
    """Any accepted edge of a one-channel crank."""
    crank = any_crank(ex, ONE_CHANNEL)
    _one_way(ex, crank)
    ex.assume(crank.backward_run == 0)
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    pitch_us = 1 + ex.integer("pitch_age", 0, 2 * EDGE_GAP_MAX_US)
    pulse_us = 1 + ex.integer("pulse_age", 0, EDGE_GAP_MAX_US)
    ex.assume(pulse_us <= pitch_us)
    high = 1 - crank.levels
    crank._kind_us[high] = ticks_add_us(time_us, PERIOD_US - pitch_us)
    crank._kind_us[1 - high] = ticks_add_us(time_us, PERIOD_US - pulse_us)
    crank._odd_before = ex.boolean("odd_before")
    odd_before, forward_run = crank._odd_before, crank.forward_run
    crank._accept(high, time_us)
    check_crank(ex, crank)
    ex.check(crank.backward_run == 0, "one channel never tells backward")
    if pitch_us < crank._shortest_pitch_us:
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
            ex.check(crank._odd_before, "one is remembered")
    ex.outcome(forward=crank.forward_run, behind=crank._behind, pitch=crank.pitch_us)


def crank_duty_coded(ex: Numbers) -> None:
    """Any accepted edge of a duty-coded crank."""
    crank = any_crank(ex, DUTY_CODED)
    _one_way(ex, crank)
    crank._forward_duty_high = ex.boolean("high_is_forward")
    crank._rise_seen = ex.boolean("rise_seen")
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    rise_age_us = ex.integer("rise_age", 0, 2 * EDGE_GAP_MAX_US)
    fall_age_us = ex.integer("fall_age", 0, 3 * EDGE_GAP_MAX_US)
    crank._rise_us = ticks_add_us(time_us, PERIOD_US - 1 - rise_age_us)
    crank._fall_us = ticks_add_us(time_us, PERIOD_US - 1 - fall_age_us)
    crank._accept(1 - crank.levels, time_us)
    check_crank(ex, crank)
    if crank.levels == 0:
        ex.check(not crank.ground_gained, "a falling edge alone tells no direction")
    ex.outcome(
        forward=crank.forward_run, backward=crank.backward_run, behind=crank._behind, pitch=crank.pitch_us
    )


def crank_glitch(ex: Numbers) -> None:
    """An edge whose levels do not last: a pulse within the glitch time changes only a count."""
    crank = any_crank(ex, TWO_CHANNELS)
    _one_way(ex, crank)
    ex.assume(crank._started)
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    gap_us = ex.integer("gap", 0, SHORTEST_PITCH_US[1] // 16)
    ex.assume(gap_us < crank._glitch_us)
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


def crank_standstill(ex: Numbers) -> None:
    """Any quiet crank, checked after any gap up to the longest permitted one."""
    _quiet_crank(ex, LONGEST_STEP_GAP_US)


def crank_standstill_too_late(ex: Numbers) -> None:
    """The same with a gap one microsecond longer: this must fail, or the bound would not be exact."""
    _quiet_crank(ex, LONGEST_STEP_GAP_US + 1)


def _quiet_crank(ex: Numbers, longest_gap_us: int) -> None:
    crank = any_crank(ex, TWO_CHANNELS)
    _one_way(ex, crank)
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    quiet_us = ex.integer("quiet", 0, STANDSTILL_US[1])
    gap_us = ex.integer("step_gap", 0, longest_gap_us)
    crank._last_edge_us = last_us
    standing = crank.standing
    if not standing:
        ex.assume(quiet_us <= crank._standstill_us)
    forward_run, backward_run = crank.forward_run, crank.backward_run
    if standing:
        ex.assume(forward_run == 0)
        ex.assume(backward_run == 0)
    # The gap in two halves: the whole may exceed the range of ticks_add_us.
    half_us = gap_us // 2
    now_us = ticks_add_us(ticks_add_us(last_us, quiet_us), half_us)
    crank.settle(ticks_add_us(now_us, gap_us - half_us))
    check_crank(ex, crank)
    if standing:
        ex.check(crank.standing, "only an edge ends a standstill")
    elif ex.wide(quiet_us) + gap_us > crank._standstill_us:
        ex.check(crank.standing, "a crank that has been quiet too long stands")
        ex.check(crank.forward_run == 0, "a standing crank has no run")
    else:
        ex.check(not crank.standing, "a crank is not taken to stand before its time")
        ex.check(crank.forward_run == forward_run, "looking changes no run")
    ex.outcome(standing=crank.standing, forward=crank.forward_run)


# The longest permitted gap between two steps: half the clock's period less the longest standstill time.
LONGEST_STEP_GAP_US = (1 << 29) - 1 - STANDSTILL_US[1]


def rotation(ex: Numbers) -> None:
    """Any rate, any time since the last period."""
    turning = Rotation(ex.integer("scale", 1, 300_000_000), ex.integer("still", 10, 4_000_000))
    turning.standing = ex.boolean("standing")
    turning._period_us = ex.integer("period", 10, 4_000_000)
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    turning._last_us = last_us
    waited_us = ex.integer("waited", 0, (1 << 29) - 1)
    was_standing = turning.standing
    rate = turning.rate(ticks_add_us(last_us, waited_us))
    ex.check(rate >= 0, "a rate is not negative")
    if was_standing or waited_us > turning._still_us:
        ex.check(rate == 0, "what stands or has waited too long has no rate")
        ex.check(turning.standing, "and the standstill is latched")
    ex.outcome(rate=rate)


def wheel(ex: Numbers) -> None:
    """Any wheel edge, then any check."""
    roll = Wheel(500, 64)
    roll._rotation._scale = ex.integer("scale", 781_250, 300_000_000)
    roll._shortest_us = ex.integer("shortest", 280, 108_000)
    # What the constructor derives from the scale: the period at 100 km/h, rounded down to tens.
    ex.assume(roll._shortest_us == (roll._rotation._scale // 27_778) * 10)
    roll._running = ex.boolean("running")
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    roll._last_us = last_us
    gap_us = ex.integer("gap", 0, 4_000_000)
    time_us = ticks_add_us(last_us, gap_us)
    was_running = roll._running
    roll.begin_step()
    roll.edge(ex.integer("level", 0, 1), time_us)
    roll.settle(ticks_add_us(time_us, ex.integer("after", 0, 10_000)))
    ex.check(roll.speed_mm_per_s >= 0, "a speed is not negative")
    ex.check(roll.speed_mm_per_s <= SPEED_MAX_MM_PER_S, "a speed is bounded")
    if was_running and gap_us < roll._shortest_us:
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
    lever._positions = positions
    for index in range(6):
        lever._shares_permille[index] = ex.integer("share " + str(index), 0, 1000)
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
    side._started = ex.boolean("started")
    side._voltage_sum = ex.integer("voltage_sum", 0, READING_MAX * 32)
    side._current_sum = ex.integer("current_sum", 0, READING_MAX * 4)
    side.step(ex.integer("battery", -1000, 200_000), ex.integer("current", -1000, 200_000))
    ex.check(side._voltage_sum >= 0, "the voltage sum is not negative")
    ex.check(side._voltage_sum <= READING_MAX * 32 + 31, "the voltage sum is bounded")
    ex.check(side._current_sum <= READING_MAX * 4 + 3, "the current sum is bounded")
    ex.check(side.power_w >= 0, "power is not negative")
    ex.check(side.power_w <= 10_000, "power is bounded")
    ex.outcome(voltage=side.battery_mv, current=side.current_ma, power=side.power_w)
