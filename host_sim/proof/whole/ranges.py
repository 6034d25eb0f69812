"""What the controller remembers from step to step: each field with its range, which every step must keep.

The paths begin at the controller. A field that a step changes and that is missing here is an error, and so is
one that stands here and is never changed: all others keep what the constructor gave them.
"""

from firmware.decide.engagement import STATE_NAMES
from firmware.decide.events import REST_SAMPLES
from firmware.guard.faults import CAUSE_NAMES, NOISE_FORGIVEN_AFTER
from firmware.guard.plausibility import (
    FORGIVEN_STEPS,
    LASTING_STEPS,
    LEARN_AFTER_STEPS,
    WITHHELD_STEPS,
)
from firmware.sense.crank import BEHIND_MAX, PITCH_MAX_US, RUN_MAX
from firmware.sense.motor_model import COMMAND_MAX_UV, LEARNED_HIGH, LEARNED_LOW, LEARNED_SHIFT
from firmware.sense.shunt_watch import SAG_STEPS, STUCK_STEPS
from firmware.sense.supply import READING_MAX

Ranges = dict[str, tuple[int, int] | str]
TRUTH = "truth"
STAMP = "stamp"
COMMAND_MAX_MV = 5_000
SPEED_MAX_MM_PER_S = 30_000
PERIOD_MAX_US = (1 << 29) - 1
MODEL_POWER_MAX_W = 200_000
LATE_MAX_MM_PER_S = 32_767
COUNT = (0, 0xFFFF)
COMMAND = (0, COMMAND_MAX_MV)
READING = (0, READING_MAX)
SPEED = (0, SPEED_MAX_MM_PER_S)
PERMILLE = (0, 1000)
LAGGED = (0, 4 * COMMAND_MAX_MV)

CRANK: Ranges = {
    "crank._behind": (0, BEHIND_MAX),
    "crank._fall_us": STAMP,
    "crank._kind_us.0": STAMP,
    "crank._kind_us.1": STAMP,
    "crank._kind_us.2": STAMP,
    "crank._kind_us.3": STAMP,
    "crank._last_changed": (0, 3),
    "crank._last_edge_us": STAMP,
    "crank._last_position": (0, 3),
    "crank._odd_before": TRUTH,
    "crank._pending": TRUTH,
    "crank._pending_levels": (0, 3),
    "crank._pending_us": STAMP,
    "crank._rise_seen": TRUTH,
    "crank._rise_us": STAMP,
    "crank._started": TRUTH,
    "crank.backward_run": (0, RUN_MAX),
    "crank.forward_run": (0, RUN_MAX),
    "crank.ground_gained": TRUTH,
    "crank.last_forward_us": STAMP,
    "crank.levels": (0, 3),
    "crank.one_sided_run": (0, RUN_MAX),
    "crank.pitch_edge_us": STAMP,
    "crank.pitch_measured": TRUTH,
    "crank.pitch_us": (0, PITCH_MAX_US),
    "crank.rejected": COUNT,
    "crank.standing": TRUTH,
}
WHEEL: Ranges = {
    "wheel._last_us": STAMP,
    "wheel._period_us": (0, PERIOD_MAX_US),
    "wheel._pulse_mm_per_s": SPEED,
    "wheel._rotation._last_us": STAMP,
    "wheel._rotation._period_us": (10, PERIOD_MAX_US),
    "wheel._rotation.standing": TRUTH,
    "wheel._running": TRUTH,
    "wheel.late_mm_per_s": (0, LATE_MAX_MM_PER_S),
    "wheel.overdue": TRUTH,
    "wheel.pulsed": TRUTH,
    "wheel.speed_mm_per_s": SPEED,
    "wheel.steady": TRUTH,
}
GUARD: Ranges = {
    "guard._before_us": STAMP,
    "guard._behind": (0, 4),
    "guard._edge_us": STAMP,
    "guard._fall_seen": TRUTH,
    "guard._fall_us": STAMP,
    "guard._forward_us": STAMP,
    "guard._levels": (0, 3),
    "guard._now_us": STAMP,
    "guard._rise_seen": TRUTH,
    "guard._rise_us": STAMP,
    "guard._throttle_rest_seen": TRUTH,
    "guard._turning": TRUTH,
    "guard._wheel_period_us": (0, PERIOD_MAX_US),
    "guard._wheel_seen": TRUTH,
    "guard._wheel_us": STAMP,
}
FAULTS: Ranges = {
    "faults._noise_level": (0, 1000),
    "faults._noise_steps": (0, NOISE_FORGIVEN_AFTER),
    "faults._overruns": (0, 2 * 0xFFFF),
    "faults._rejected": COUNT,
    "faults._unpulsed_samples": (0, 4_000),
    "faults.cause": (0, len(CAUSE_NAMES) - 1),
    "faults.conditions": (0, (1 << len(CAUSE_NAMES)) - 1),
    **{f"faults._samples_in_row.{cause}": (0, 200) for cause in range(1, len(CAUSE_NAMES))},
}
PLAUSIBILITY: Ranges = {
    "plausibility._contradiction": (0, 3),
    "plausibility._driven_steps": (0, LEARN_AFTER_STEPS),
    "plausibility._lasting_steps": (0, LASTING_STEPS - 1),
    "plausibility._suspected": (0, 3),
    "plausibility._suspicions": (0, 3),
    "plausibility._unsuspected_steps": (0, FORGIVEN_STEPS - 1),
    "plausibility._withheld_steps": (0, WITHHELD_STEPS),
    "plausibility.motor_silent": TRUTH,
    "plausibility.power_low": TRUTH,
    "plausibility.shunt_dead": TRUTH,
    "plausibility.shunt_stuck": TRUTH,
    "plausibility.wheel_slow": TRUTH,
    "plausibility.withheld": TRUTH,
}
MODEL: Ranges = {
    "motor_model._ceiling_ma": (0, 200_000),
    "motor_model._lagged": LAGGED,
    "motor_model._lagged_twice": LAGGED,
    "motor_model._learned": (LEARNED_LOW << LEARNED_SHIFT, (LEARNED_HIGH << LEARNED_SHIFT) + 511),
    "motor_model._plain_w": (0, MODEL_POWER_MAX_W),
    "motor_model.back_emf_mv": READING,
    "motor_model.battery_mv": READING,
    "motor_model.current_ma": (0, 200_000),
    "motor_model.drop_mv": READING,
    "motor_model.highest_emf_mv": READING,
    "motor_model.learned_permille": (LEARNED_LOW, LEARNED_HIGH),
    "motor_model.least_w": (0, 12_500),
    "motor_model.lowest_emf_mv": READING,
    "motor_model.most_w": (0, 250_000),
    "motor_model.motor_mv": READING,
    "motor_model.plain_emf_mv": READING,
}
WATCH: Ranges = {
    "shunt_watch._command_sum": (0, 16 * COMMAND_MAX_MV + 15),
    "shunt_watch._current_sum": (0, 16 * READING_MAX + 15),
    "shunt_watch._last_ma": READING,
    "shunt_watch._sag_steps": (0, SAG_STEPS),
    "shunt_watch._stuck_mv": READING,
    "shunt_watch._stuck_steps": (0, STUCK_STEPS),
    "shunt_watch.drawn": TRUTH,
    "shunt_watch.fallen": TRUTH,
    "shunt_watch.lapsed": TRUTH,
    "shunt_watch.rest_ma": READING,
    "shunt_watch.rest_mv": READING,
    "shunt_watch.rest_peak_ma": READING,
    "shunt_watch.sags": TRUTH,
    "shunt_watch.stuck": TRUTH,
}
DRIVE: Ranges = {
    "feed_forward._flows": TRUTH,
    "feed_forward._followed_mv": (-1, READING_MAX),
    "feed_forward._seeking": TRUTH,
    "feed_forward.change_uv": (-COMMAND_MAX_UV, COMMAND_MAX_UV),
    "feed_forward.found_mv": COMMAND,
    "feed_forward.rise_mv_per_s": (0, 10_000),
    "feed_forward.seek_mv": COMMAND,
    "power_loop._carry": (0, 199_999),
    "power_loop._integral_uv": (0, 5_000_000),
    "power_loop._last_us": STAMP,
    "power_loop._target_uv": (0, 5_000_000),
    "power_loop.target_mv": COMMAND,
    "slew_limiter._carry_nv": (0, 999_999),
    "slew_limiter._last_us": STAMP,
    "slew_limiter.command_mv": COMMAND,
}
LEVERS: Ranges = {
    "throttle.rest_seen": TRUTH,
    "throttle.share_permille": PERMILLE,
    "throttle.wire_open": TRUTH,
    "throttle.wire_shorted": TRUTH,
    "selector.position": (0, 5),
    "selector.share_permille": PERMILLE,
    "selector.wire_open": TRUTH,
    "selector.wire_shorted": TRUTH,
    "supply._current_sum": (0, 4 * READING_MAX + 3),
    "supply._started": TRUTH,
    "supply._voltage_sum": (0, 32 * READING_MAX + 31),
    "supply.battery_mv": READING,
    "supply.current_ma": READING,
    "supply.power_w": (0, 10_000),
}
DECIDE: Ranges = {
    "pedalling._cadence._last_us": STAMP,
    "pedalling._cadence._period_us": (10, PITCH_MAX_US),
    "pedalling._cadence.standing": TRUTH,
    "pedalling.backward": TRUTH,
    "pedalling.cadence_rpm": (0, 1_500_000),
    "pedalling.engages": TRUTH,
    "pedalling.slow": TRUTH,
    "pedalling.stop_gap_us": (0, 15_000_000),
    "pedalling.stopped": TRUTH,
    "events._rest_samples": (0, REST_SAMPLES),
    "engagement.event": (0, 9),
    "engagement.state": (0, len(STATE_NAMES) - 1),
    "request.wanted_w": (0, 1_500),
    "ceilings.ceiling_w": (0, 1_500),
    "ceilings.lowest": (0, 4),
}
OUTPUT: Ranges = {
    "outputs.command_mv": COMMAND,
    "outputs.drive_enabled": TRUTH,
    "outputs.fault_cause": (0, len(CAUSE_NAMES) - 1),
    "outputs.indicator": (0, 3),
    "outputs.valid_for_us": (50_000, 50_000),
    "_last_us": STAMP,
    "_stalled": TRUTH,
}
RANGES: Ranges = {
    **CRANK,
    **WHEEL,
    **GUARD,
    **FAULTS,
    **PLAUSIBILITY,
    **MODEL,
    **WATCH,
    **DRIVE,
    **LEVERS,
    **DECIDE,
    **OUTPUT,
}
INPUTS: Ranges = {
    "sampled_us": STAMP,
    "throttle_mv": (0, 5_000),
    "selector_mv": (0, 5_000),
    "battery_mv": (0, READING_MAX),
    "current_ma": (0, READING_MAX),
    "motor_decicelsius": (-500, 3_000),
    "brake_pulled": TRUTH,
    "clear_requested": TRUTH,
    "crank.overruns": COUNT,
    "wheel.overruns": COUNT,
}
