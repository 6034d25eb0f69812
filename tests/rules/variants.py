"""Sabotaged firmware: mistakes that a change could make, each with the rule that must catch it.

A sabotage is a list of mistakes in the firmware, each in a method that it names (`tests/planting.py`).
`stopped_by_guard` tells that the output guard alone stops the mistake: such a row takes the guard away
too (its last mistake), and a companion test shows that with the guard in place the rule still holds.
"""

from typing import Any

from tests.planting import Mistake

Rides = list[tuple[str, int]]

CRANK = "sense/crank.py"
LEVERS = "sense/levers.py"
PEDALLING = "decide/pedalling.py"
EVENTS = "decide/events.py"
ENGAGEMENT = "decide/engagement.py"
CEILINGS = "decide/ceilings.py"
REQUEST = "decide/request.py"
POWER_LOOP = "drive/power_loop.py"
MOTOR_MODEL = "sense/motor_model.py"
FEED_FORWARD = "drive/feed_forward.py"
FAULTS = "guard/faults.py"
GUARD = "guard/output_guard.py"
CONTROLLER = "controller.py"

GUARD_REMOVED = Mistake(
    GUARD, "OutputGuard.permit", "if self._clock_went_back(now_us):\n    return 0", "return command_mv"
)
BRAKE_IGNORED = Mistake(EVENTS, "Events.choose", "brake_pulled", "False")
PITCH_KEPT = Mistake(
    CRANK, "Crank._go_backward", "self.forward_run = 0\nself.pitch_us = 0", "self.forward_run = 0"
)
NEVER_LEFT = Mistake(
    ENGAGEMENT,
    "",
    "(FAULTED, BRAKED, READY, ASSISTING, THROTTLING, READY, READY, READY, ASSISTING, ASSISTING)",
    "(FAULTED, BRAKED, READY, ASSISTING, THROTTLING, ASSISTING, ASSISTING, ASSISTING, ASSISTING, ASSISTING)",
)
LONG_GAPS = {"settings": {"edge_gap_permille": 1000, "stop_pitch_percent": 400, "backward_edges": 4}}
NEVER_SLOW = Mistake(PEDALLING, "Pedalling.step", "self.cadence_rpm < self._release_rpm", "self.stopped")


class Sabotage:
    """One row: what was done to the firmware, and the rule, bike and rides that must show it."""

    def __init__(
        self,
        name: str,
        rule: str,
        rides: Rides,
        mistakes: list[Mistake],
        bike: str = "cargo_trike",
        changes: dict[str, Any] | None = None,
        stopped_by_guard: bool = False,
    ) -> None:
        self.name = name
        self.rule = rule
        self.rides = rides
        self.bike = bike
        self.changes = changes or {}
        self.stopped_by_guard = stopped_by_guard
        self.mistakes = [*mistakes, GUARD_REMOVED] if stopped_by_guard else mistakes
        self.with_guard = mistakes

    def measurement(self) -> dict[str, Any]:
        """Return what the measuring process is to measure for this row."""
        return {"bike": self.bike, "changes": self.changes, "rule": self.rule, "rides": self.rides}


def seeds(scenario: str, *numbers: int) -> Rides:
    """Return these rides of one kind."""
    return [(scenario, number) for number in numbers]


SABOTAGES = (
    # The end of help.
    Sabotage(
        "the stop gap is one period too long",
        "stop time",
        seeds("sudden stop", 0, 1, 2),
        [Mistake(PEDALLING, "Pedalling.step", "self.stop_gap_us", "self.stop_gap_us + 5_000")],
    ),
    Sabotage(
        "the pitch just measured does not shorten the stop gap",
        "stop time",
        seeds("sudden stop", 0, 1, 2),
        [Mistake(PEDALLING, "Pedalling._stop_gap_us", "pitch_us > 0", "False")],
        changes={"settings": {"edge_gap_permille": 1000}},
    ),
    Sabotage(
        "the cut-off distance does not shorten the stop gap",
        "cut-off distance",
        seeds("sudden stop", 2, 3),
        [
            Mistake(PEDALLING, "Pedalling._stop_gap_us", "speed_mm_per_s > 0", "False"),
            Mistake(PEDALLING, "Pedalling._stop_gap_us", "pitch_us > 0", "False"),
        ],
        bike="folding",
        stopped_by_guard=True,
    ),
    Sabotage(
        "a rising pitch time is taken for ten times shorter",
        "steady help",
        seeds("slow legs at speed", 0),
        [Mistake(PEDALLING, "Pedalling._stop_gap_us", "pitch_us // 100", "pitch_us // 1000")],
    ),
    Sabotage(
        "the guard lets everything through, and the brake is no event",
        "brake cut",
        seeds("brake pull", 0),
        [BRAKE_IGNORED],
        stopped_by_guard=True,
    ),
    Sabotage(
        "assistance is not left by rest, stop or slowness",
        "nothing from a standing crank",
        seeds("sudden stop", 0),
        [NEVER_LEFT],
        stopped_by_guard=True,
    ),
    Sabotage(
        "assistance is not left by rest, stop or slowness, at the lights",
        "nudge run-on",
        seeds("nudges", 0, 1),
        [NEVER_LEFT],
        changes={
            "pedal_sensor": {"pulses_per_rev": 24, "uneven_deg": 0.5},
            "settings": {"engage_edges": 5},  # Nudges of more edges are rare.
        },
        stopped_by_guard=True,
    ),
    Sabotage(
        "assistance is not left by rest, stop or slowness, and the shunt is stuck",
        "shunt stuck",
        seeds("shunt stuck", 0),
        [NEVER_LEFT],
        stopped_by_guard=True,
    ),
    Sabotage(
        "backward edges are no event, and leave the cadence as it was",
        "backward edges",
        seeds("backward", 0, 1),
        [Mistake(EVENTS, "Events.choose", "pedalling.backward", "False"), PITCH_KEPT],
        changes=LONG_GAPS,
        stopped_by_guard=True,
    ),
    Sabotage(
        "the sign of the lead is flipped, here and in the guard",
        "forward pedalling only",
        seeds("backward", 0),
        [
            Mistake(
                CRANK,
                "Crank.__init__",
                "1 if settings.lead == B_LEADS else 3",
                "3 if settings.lead == B_LEADS else 1",
            ),
            Mistake(
                GUARD,
                "OutputGuard.__init__",
                "3 if settings.lead == B_LEADS else 1",
                "1 if settings.lead == B_LEADS else 3",
            ),
        ],
    ),
    Sabotage(
        "the sign of the lead is flipped",
        "first help",
        seeds("first edges", 0),
        [
            Mistake(
                CRANK,
                "Crank.__init__",
                "1 if settings.lead == B_LEADS else 3",
                "3 if settings.lead == B_LEADS else 1",
            )
        ],
    ),
    Sabotage(
        "rocking is progress: nothing to make up after going back, and a low cadence is none",
        "rocking ends help",
        seeds("rocking on", 0, 1, 2, 3),
        [
            Mistake(CRANK, "Crank._gain_ground", "self._behind > 0", "False"),
            Mistake(GUARD, "OutputGuard._go_forward", "self._behind > 0", "False"),
            Mistake(
                GUARD,
                "OutputGuard.permit",
                "not self._turning or self._behind >= self._backward_edges",
                "not self._turning",
            ),
            NEVER_SLOW,
        ],
        changes=LONG_GAPS,
    ),
    Sabotage(
        "backward edges run like forward ones",
        "rocking never engages",
        seeds("rocking", 0, 1, 2),
        [
            Mistake(CRANK, "Crank._two_channels", "self._go_backward(1)", "self._forward(position, time_us)"),
        ],
        changes={"settings": {"engage_rpm": 6, "release_rpm": 4}},
    ),
    # Engaging.
    Sabotage(
        "waiting is left at once",
        "two actions to start",
        seeds("turning at power-up", 0),
        [
            Mistake(
                ENGAGEMENT,
                "",
                "(FAULTED, WAITING, WAITING, WAITING, WAITING, READY, WAITING, WAITING, WAITING, WAITING)",
                "(FAULTED, READY, READY, READY, READY, READY, WAITING, WAITING, WAITING, WAITING)",
            )
        ],
    ),
    Sabotage(
        "an open throttle at power-up has been at rest, here and in the guard, and ends the waiting",
        "two actions to start",
        seeds("turning at power-up", 1),
        [
            Mistake(LEVERS, "Throttle.__init__", "not self._fitted", "True"),
            Mistake(GUARD, "OutputGuard.__init__", "settings.throttle_fitted == 0", "True"),
            Mistake(
                ENGAGEMENT,
                "",
                "(FAULTED, WAITING, WAITING, WAITING, WAITING, READY, WAITING, WAITING, WAITING, WAITING)",
                "(FAULTED, WAITING, WAITING, WAITING, READY, READY, WAITING, WAITING, WAITING, WAITING)",
            ),
        ],
        bike="tandem",
    ),
    Sabotage(
        "the edges asked for are not counted",
        "engage edges",
        seeds("first edges", 0),
        [Mistake(PEDALLING, "Pedalling.step", "self._engage_edges", "0")],
        bike="tandem",
    ),
    Sabotage(
        "the engage cadence is not asked for",
        "engage cadence",
        seeds("steady cadence", 0, 2, 4) + seeds("first edges", 0),
        [Mistake(PEDALLING, "Pedalling.step", "self._engage_rpm", "0")],
    ),
    Sabotage(
        "release at the engage cadence: no hysteresis",
        "no hunting at the thresholds",
        seeds("steady cadence", 1, 3, 5),
        [
            Mistake(
                PEDALLING,
                "Pedalling.step",
                "self.cadence_rpm < self._release_rpm",
                "self.cadence_rpm < self._engage_rpm",
            )
        ],
    ),
    Sabotage(
        "the least speed to engage is not asked for",
        "least speed to engage",
        seeds("slow start", 0),
        [Mistake(PEDALLING, "Pedalling.step", "self._engage_speed_mm_per_s", "0")],
        bike="tandem",
    ),
    Sabotage(
        "noise pulses are not filtered",
        "noise never engages",
        seeds("noise at rest", 0, 1),
        [
            Mistake(CRANK, "Crank.__init__", "self._shortest_pitch_us // 16", "0"),
            Mistake(CRANK, "Crank._one_channel", "odd and self.forward_run >= self._kinds", "False"),
        ],
        bike="folding",
    ),
    Sabotage(
        "a pulse much too narrow for a magnet tells a direction",
        "noise never engages",
        seeds("noise at rest", 0, 1),
        [
            Mistake(
                CRANK,
                "Crank._duty_coded",
                "pitch_us >> 3 < abs(excess_us) < pitch_us - (pitch_us >> 2)",
                "pitch_us >> 3 < abs(excess_us)",
            )
        ],
        changes={"pedal_sensor": {"kind": "duty-coded", "duty_percent": 30, "pulses_per_rev": 12}},
    ),
    # Speed.
    Sabotage(
        "the taper is inverted",
        "taper falls",
        seeds("speed sweep", 0),
        [
            Mistake(
                CEILINGS,
                "Ceilings._speed_permille",
                "fading_permille(speed_mm_per_s, self._taper_start_mm_per_s, self._cutoff_speed_mm_per_s)",
                "rising_permille(speed_mm_per_s, self._taper_start_mm_per_s, self._cutoff_speed_mm_per_s)",
            )
        ],
    ),
    Sabotage(
        "the cut-off is compared to another speed",
        "cut-off speed",
        seeds("speed sweep", 0),
        [
            Mistake(
                CEILINGS,
                "Ceilings.__init__",
                "settings.cutoff_speed_mm_per_s",
                "settings.cutoff_speed_mm_per_s * 6 // 5",
            )
        ],
        stopped_by_guard=True,
    ),
    Sabotage(
        "the cut-off is forgotten",
        "no drive over speed",
        seeds("speed sweep", 0),
        [
            Mistake(
                CEILINGS,
                "Ceilings.__init__",
                "settings.cutoff_speed_mm_per_s",
                "settings.cutoff_speed_mm_per_s * 3 // 2",
            )
        ],
        stopped_by_guard=True,
    ),
    Sabotage(
        "the start-up speed is not asked for",
        "start-up speed",
        seeds("throttle from rest", 0),
        [
            Mistake(
                CEILINGS, "Ceilings._speed_permille", "state == THROTTLING and self._startup_limited", "False"
            ),
            Mistake(
                EVENTS,
                "Events._throttle_may_drive",
                "self._wheel.speed_mm_per_s < self._startup_speed_mm_per_s",
                "True",
            ),
        ],
        stopped_by_guard=True,
    ),
    Sabotage(
        "the throttle's share never falls",
        "throttle release",
        seeds("throttle from rest", 0),
        [
            Mistake(
                LEVERS,
                "Throttle.step",
                "self.share_permille = rising_permille(throttle_mv, self._rest_mv, self._full_mv)",
                "turned_permille = rising_permille(throttle_mv, self._rest_mv, self._full_mv)\n"
                "self.share_permille = max(self.share_permille, turned_permille)",
            ),
            Mistake(
                LEVERS,
                "Throttle.step",
                "self.rest_seen = True\nself.share_permille = 0",
                "self.rest_seen = True",
            ),
        ],
        bike="tandem",
        stopped_by_guard=True,
    ),
    Sabotage(
        "the gain is two hundred times too high in the taper",
        "no hunting in the taper",
        seeds("steady speed", 0, 1),
        [Mistake(POWER_LOOP, "PowerLoop.__init__", "settings.gain_uv_per_w", "settings.gain_uv_per_w * 200")],
        bike="tandem",
    ),
    # Power and command.
    Sabotage(
        "the slew limiter is bypassed",
        "rise rate",
        seeds("power steps", 0),
        [Mistake(CONTROLLER, "Controller._slew", "limiter.step", "limiter.reset")],
    ),
    Sabotage(
        "rise and fall are swapped",
        "rise rate",
        seeds("power steps", 0),
        [
            Mistake(
                CONTROLLER,
                "Controller.__init__",
                "SlewLimiter(settings.rise_mv_per_s, settings.fall_mv_per_s, now_us)",
                "SlewLimiter(settings.fall_mv_per_s, settings.rise_mv_per_s, now_us)",
            )
        ],
    ),
    Sabotage(
        "the command starts at nothing instead of at the end of the dead band",
        "first help",
        seeds("first edges", 0),
        [
            Mistake(
                CONTROLLER,
                "Controller._slew",
                "target_mv > 0 and limiter.command_mv < self.settings.command_start_mv",
                "False",
            )
        ],
    ),
    Sabotage(
        "anti-windup is removed: the integral follows what was asked",
        "power overshoot",
        seeds("power steps", 0, 1, 2, 3),
        [Mistake(POWER_LOOP, "PowerLoop._follow", "applied_mv != self.target_mv", "False")],
        changes={"settings": {"motor_kind": 0}},  # The model of a known motor would bound it.
    ),
    Sabotage(
        "the command never seeks the back-EMF",
        "help resumed at speed",
        seeds("help resumed", 0),
        [Mistake(FEED_FORWARD, "FeedForward.rest", "self._rate_mv_per_s > 0", "False")],
        bike="tandem",
    ),
    Sabotage(
        "the command does not follow the back-EMF, and the loop is slow",
        "power when a slope begins",
        seeds("slope begins", 1, 3, 5),
        [
            Mistake(FEED_FORWARD, "FeedForward._follow", "self._followed_mv >= 0", "False"),
            Mistake(
                POWER_LOOP, "PowerLoop.__init__", "settings.gain_uv_per_w", "settings.gain_uv_per_w // 8"
            ),
        ],
        bike="tandem",
    ),
    Sabotage(
        "the integral never moves",
        "power settling",
        seeds("power steps", 0),
        [Mistake(POWER_LOOP, "PowerLoop._follow", "self._integral_uv += step_uv", "self._integral_uv = 0")],
    ),
    Sabotage(
        "the gain is two hundred times too high",
        "surge",
        seeds("power steps", 0, 1),
        [Mistake(POWER_LOOP, "PowerLoop.__init__", "settings.gain_uv_per_w", "settings.gain_uv_per_w * 200")],
        bike="tandem",
    ),
    Sabotage(
        "the command has no highest value, here and in the guard",
        "output range",
        seeds("shunt dead", 0),
        [
            Mistake(
                POWER_LOOP,
                "PowerLoop.__init__",
                "(settings.command_max_mv - settings.command_start_mv) * _UV_PER_MV",
                "5_000_000",
            ),
            Mistake(GUARD, "OutputGuard.permit", "min(command_mv, self._highest_mv)", "command_mv"),
            Mistake(MOTOR_MODEL, "MotorModel.ceiling_mv", "self._start_mv + self._span_mv", "9999"),
        ],
        changes={"settings": {"motor_kind": 0}},  # The model of a known motor would bound it.
    ),
    Sabotage(
        "assist power and its limit are doubled",
        "continuous power",
        seeds("power steps", 0),
        [
            Mistake(CEILINGS, "Ceilings.__init__", "settings.power_limit_w", "2 * settings.power_limit_w"),
            Mistake(REQUEST, "Request.__init__", "settings.assist_power_w", "2 * settings.assist_power_w"),
        ],
    ),
    Sabotage(
        "the selector's shares are shifted by one",
        "selector shares",
        seeds("selector positions", 0),
        [
            Mistake(
                LEVERS,
                "Selector.step",
                "self._shares_permille[self.position]",
                "self._shares_permille[max(self.position - 1, 0)]",
            )
        ],
    ),
    Sabotage(
        "the battery's fold-back is inverted",
        "battery fold-back",
        seeds("battery runs low", 0),
        [Mistake(CEILINGS, "Ceilings.step", "rising_permille", "fading_permille")],
    ),
    Sabotage(
        "the heat fold-back is removed",
        "heat fold-back",
        seeds("motor gets hot", 0),
        [Mistake(CEILINGS, "Ceilings.step", "self._heat_sensor_fitted", "False")],
    ),
    # Failures.
    Sabotage(
        "the fault latch is removed: the cause goes when its condition ends",
        "a fault stays",
        seeds("lever faults", 0),
        [
            Mistake(
                FAULTS,
                "Faults._observe",
                "self._samples_in_row[cause] = 0\nreturn",
                "self._samples_in_row[cause] = 0\nif self.cause == cause:\n    self.cause = NO_FAULT\nreturn",
            )
        ],
    ),
    Sabotage(
        "a shorted throttle wire is never observed",
        "lever wires",
        seeds("lever faults", 1),
        [Mistake(FAULTS, "Faults._check_wires", "1 << THROTTLE_WIRE_SHORTED", "0")],
    ),
    Sabotage(
        "an open selector wire is never observed",
        "lever wires",
        seeds("lever faults", 2),
        [Mistake(FAULTS, "Faults._check_wires", "1 << SELECTOR_WIRE_OPEN", "0")],
    ),
    Sabotage(
        "a lost wheel sensor is never observed",
        "wheel sensor lost",
        seeds("wheel sensor lost", 0),
        [Mistake(FAULTS, "Faults._check_wheel", "1 << WHEEL_LOST", "0")],
        changes={"wheel_sensor": {"pulses_per_rev": 1}, "settings": {"motor_kind": 0}},
    ),
    Sabotage(
        "a missing current is never observed",
        "shunt dead",
        seeds("shunt dead", 0),
        [Mistake(FAULTS, "Faults._check_shunt", "1 << CURRENT_MISSING if missing else 0", "0")],
        changes={"settings": {"motor_kind": 0}},  # The model of a known motor would bound it.
    ),
    Sabotage(
        "the outputs are valid for ten seconds",
        "stalled loop",
        seeds("loop stalls", 0),
        [Mistake(CONTROLLER, "Controller._put_out", "OUTPUTS_VALID_US", "10_000_000")],
    ),
    Sabotage(
        "outputs are declared valid for ten seconds everywhere",
        "stalled loop",
        seeds("loop stalls", 0),
        [Mistake("records.py", "", "OUTPUTS_VALID_US = 50_000", "OUTPUTS_VALID_US = 10_000_000")],
    ),
    Sabotage(
        "after a stall the command goes on where it was",
        "no jump after a stall",
        seeds("loop stalls", 0),
        [
            Mistake(
                CONTROLLER,
                "Controller._slew",
                "self._stalled or not self.engagement.driving() or self.ceilings.ceiling_w == 0",
                "not self.engagement.driving() or self.ceilings.ceiling_w == 0",
            )
        ],
    ),
    Sabotage(
        "the wrap mask is removed from time differences",
        "clock wrap",
        seeds("hilly ride", 0),
        [
            Mistake(
                "ticks.py", "ticks_diff_us", "later_us - earlier_us & TICKS_MAX_US", "later_us - earlier_us"
            )
        ],
    ),
    Sabotage(
        "lost edges are no fault",
        "lost edges",
        seeds("lost edges", 1),
        [Mistake(FAULTS, "Faults._check_crank", "1 << EDGES_LOST", "0")],
    ),
    # What once passed the whole proof.
    Sabotage(
        "faults are evaluated after engagement, so that the step that latches still drives",
        "a fault stays",
        seeds("lever faults", 0, 1),
        [
            Mistake(
                CONTROLLER,
                "Controller.step",
                "self.faults.step(inputs, self.outputs.command_mv)\nself._engage(inputs)",
                "self._engage(inputs)\nself.faults.step(inputs, self.outputs.command_mv)",
            )
        ],
    ),
    Sabotage(
        "without a shunt the command rises at the fall rate",
        "rise rate",
        seeds("power steps", 0),
        [
            Mistake(
                CONTROLLER,
                "Controller.__init__",
                "SlewLimiter(settings.rise_mv_per_s, settings.fall_mv_per_s, now_us)",
                "SlewLimiter(settings.rise_mv_per_s if settings.shunt_fitted == 1 else"
                " settings.fall_mv_per_s, settings.fall_mv_per_s, now_us)",
            )
        ],
        changes={"shunt": {"fitted": False}},
    ),
    Sabotage(
        "a duty-coded ring tells no direction, here and in the guard",
        "backward edges",
        seeds("backward", 0),
        [
            Mistake(
                CRANK,
                "Crank._duty_coded",
                "(excess_us > 0) == self._forward_duty_high",
                "excess_us != 0 or self._forward_duty_high",
            ),
            Mistake(
                GUARD,
                "OutputGuard._see_duty",
                "(high_us > low_us) == (self._settings.forward_duty_high == 1)",
                "high_us != low_us or self._settings.forward_duty_high == 1",
            ),
        ],
        changes={"pedal_sensor": {"kind": "duty-coded", "duty_percent": 30, "pulses_per_rev": 12}},
    ),
    Sabotage(
        "a potentiometer gives a share of up to 1950 permille",
        "selector shares",
        seeds("selector positions", 0),
        [
            Mistake(
                LEVERS,
                "Selector.step",
                "self.share_permille = turned_permille",
                "self.share_permille = turned_permille * 1950 // 1000",
            )
        ],
        bike="tandem",
    ),
    Sabotage(
        "the lead is flipped from 32 pulses on",
        "first help",
        seeds("first edges", 0),
        [
            Mistake(
                CRANK,
                "Crank.__init__",
                "self._backward_step = 1 if settings.lead == B_LEADS else 3",
                "self._backward_step = 1 if (settings.lead == B_LEADS) != (pulses >= 32) else 3",
            )
        ],
        changes={"pedal_sensor": {"pulses_per_rev": 32}},
    ),
)
