"""Steps of the decisions: pedalling facts and events, each from any state."""

from firmware.decide.engagement import (
    ASSISTING,
    BACKWARD,
    BRAKE,
    FAULT,
    FAULTED,
    PEDALLING,
    READY,
    REST,
    STATE_NAMES,
    THROTTLE,
    THROTTLE_ALONE,
    THROTTLING,
    WAITING,
    Engagement,
)
from firmware.decide.events import REST_SAMPLES, Events
from firmware.decide.pedalling import Pedalling
from firmware.sense.crank import PITCH_MAX_US, RUN_MAX, Crank
from firmware.sense.levers import Throttle
from firmware.sense.rotation import Wheel
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_MS, TICKS_MAX_US, ticks_add_us
from host_sim.proof.domain import SPEED_MAX_MM_PER_S, any_setting
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_sense import LONGEST_STEP_GAP_US
from host_sim.proof.numbers import Numbers

RELEASE_GAP_US = (3_970, 3_750_000)  # Over all legal settings; see `derived_numbers`.


def any_pedalling(ex: Numbers) -> Pedalling:
    """Return the facts about pedalling in any state, with any settings."""
    legs = Pedalling(Settings({}))
    inner = Inside(legs)
    inner.release_gap_us = ex.integer("release_gap", RELEASE_GAP_US[0], RELEASE_GAP_US[1])
    cadence = Inside(inner.cadence)
    cadence.scale = ex.integer("scale", 93_750, 1_500_000)
    cadence.still_us = ex.integer("still", 15_889, 3_750_000)
    cadence.period_us = ex.integer("period", 3_750, PITCH_MAX_US)
    inner.cadence.standing = ex.boolean("cadence_standing")
    inner.engage_edges = any_setting(ex, "engage_edges")
    inner.engage_rpm = any_setting(ex, "engage_rpm")
    inner.release_rpm = any_setting(ex, "release_rpm")
    inner.backward_edges = any_setting(ex, "backward_edges")
    inner.stop_pitch_percent = any_setting(ex, "stop_pitch_percent")
    inner.cutoff_distance_mm = any_setting(ex, "cutoff_distance_mm")
    inner.spent_ms = any_setting(ex, "motor_lag_ms") + CONTROL_PERIOD_MS
    inner.engage_speed_mm_per_s = any_setting(ex, "engage_speed_mm_per_s")
    legs.stopped = ex.boolean("stopped")
    return legs


def stop_gap(ex: Numbers) -> None:
    """Any pitch, any speed, any settings: the shortest of the three times."""
    legs = any_pedalling(ex)
    inner = Inside(legs)
    pitch_us = ex.integer("pitch", 0, PITCH_MAX_US)
    speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    gap_us = inner.stop_gap_us(pitch_us, speed_mm_per_s)
    ex.check(gap_us >= 0, "the stop gap is not negative")
    ex.check(gap_us <= inner.release_gap_us, "the stop gap is at most the release gap")
    if pitch_us > 0:
        multiple = ex.wide(pitch_us) * inner.stop_pitch_percent
        ex.check(ex.wide(gap_us) * 100 <= multiple, "nor more than the multiple of the pitch just measured")
    if speed_mm_per_s > 0 and gap_us > 0:
        spent_us = ex.wide(gap_us) + ex.wide(inner.spent_ms) * 1000
        way = spent_us * speed_mm_per_s
        room = ex.wide(inner.cutoff_distance_mm) * 1_000_000
        ex.check(way <= room, "stop gap, motor lag and a period together stay within the cut-off distance")
    ex.outcome(gap=gap_us)


def pedalling(ex: Numbers) -> None:
    """Any legs and crank at any time up to the longest permitted step gap.

    Speed only shortens the stop gap, as `stop_gap` shows; here the release gap is any time from 0 on,
    which covers every stop gap.
    """
    legs = any_pedalling(ex)
    inner = Inside(legs)
    inner.release_gap_us = ex.integer("any_gap", 0, RELEASE_GAP_US[1])
    crank = Crank(Settings({}), 0)
    crank.pitch_us = ex.integer("pitch", 0, PITCH_MAX_US)
    crank.pitch_measured = ex.boolean("pitch_measured")
    crank.ground_gained = ex.boolean("ground_gained")
    crank.forward_run = ex.integer("forward_run", 0, RUN_MAX)
    crank.backward_run = ex.integer("backward_run", 0, RUN_MAX)
    forward_us = ex.integer("forward", 0, TICKS_MAX_US)
    crank.last_forward_us = forward_us
    crank.pitch_edge_us = forward_us
    Inside(inner.cadence).last_us = forward_us
    if crank.pitch_us > 0:
        ex.assume(crank.pitch_us >= 3_750)
    since_us = ex.integer("since", 0, LONGEST_STEP_GAP_US + RELEASE_GAP_US[1])
    was_stopped, gained = legs.stopped, crank.ground_gained
    legs.step(crank, 0, ticks_add_us(forward_us, since_us))
    if since_us > legs.stop_gap_us:
        ex.check(legs.stopped, "later than the stop gap after the last forward edge, pedalling has stopped")
    if was_stopped and not gained:
        ex.check(legs.stopped, "only ground gained ends a stop")
    if legs.engages:
        ex.check(not legs.stopped, "what has stopped does not engage")
        ex.check(crank.forward_run >= inner.engage_edges, "the edges asked for came in a row")
        ex.check(legs.cadence_rpm >= inner.engage_rpm, "the cadence is the one asked for")
        ex.check(inner.engage_speed_mm_per_s == 0, "standing still engages only where no speed is asked for")
    if crank.backward_run >= inner.backward_edges:
        ex.check(legs.backward, "enough backward edges are backward pedalling")
    if legs.stopped and not was_stopped:
        ex.check(crank.forward_run == 0, "a stop asks for a new run")
    ex.outcome(stopped=legs.stopped, engages=legs.engages, cadence=legs.cadence_rpm)


def events(ex: Numbers) -> None:
    """Any facts at all."""
    settings = Settings({})
    crank, legs, lever, wheel = Crank(settings, 0), Pedalling(settings), Throttle(settings), Wheel(2_000, 1)
    chooser = Events(settings, crank, legs, lever, wheel)
    inner = Inside(chooser)
    inner.throttle_unpedalled = any_setting(ex, "throttle_unpedalled")
    inner.startup_speed_mm_per_s = any_setting(ex, "startup_speed_mm_per_s")
    inner.rest_samples = ex.integer("rest_samples", 0, REST_SAMPLES)
    crank.standing = ex.boolean("standing")
    legs.backward = ex.boolean("backward")
    legs.engages = ex.boolean("engages")
    legs.stopped = ex.boolean("stopped")
    legs.slow = ex.boolean("slow")
    if legs.engages:
        ex.assume(not legs.stopped)  # As the lemma `pedalling` shows.
    lever.rest_seen = ex.boolean("rest_seen")
    lever.share_permille = ex.integer("throttle", 0, 1000)
    if not lever.rest_seen:
        ex.assume(lever.share_permille == 0)  # As the lemma `throttle` shows.
    fault = ex.integer("fault", 0, 12)
    brake = ex.boolean("brake")
    wheel.speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    event = chooser.choose(fault, brake)
    if fault != 0:
        ex.check(event == FAULT, "a fault is the most urgent")
    elif brake:
        ex.check(event == BRAKE, "then the brake")
    elif legs.backward:
        ex.check(event == BACKWARD, "then backward pedalling")
    if event == PEDALLING:
        ex.check(not legs.stopped, "no stopped crank is taken for pedalling")
    if event in (THROTTLE_ALONE, THROTTLE):
        ex.check(lever.share_permille > 0, "a closed throttle drives nothing")
        free = inner.throttle_unpedalled == 2
        slow = inner.throttle_unpedalled == 1 and wheel.speed_mm_per_s < inner.startup_speed_mm_per_s
        ex.check(free or slow, "the throttle alone drives only where the place lets it")
    for state in range(len(STATE_NAMES)):
        engagement = Engagement()
        engagement.state = state
        following = engagement.step(event)
        if following == ASSISTING:
            ex.check(not legs.stopped, "a state that assists is never left standing after a stop")
            ex.check(not legs.backward, "nor while the edges run backward")
            ex.check(fault == 0 and not brake, "nor with a fault or the brake")
            if state != ASSISTING:
                ex.check(event == PEDALLING, "assistance begins by pedalling only")
        if following == THROTTLING:
            ex.check(lever.share_permille > 0 or legs.engages, "the throttle drives only while it is open")
        if state == WAITING and following != WAITING and following != FAULTED:
            ex.check(event == REST and following == READY, "only rest ends waiting")
            ex.check(crank.standing and lever.rest_seen, "and rest is a standing crank and a closed throttle")
    ex.outcome(event=event)
