"""Contracts: what a function needs, what it may change, and what it gives. Shown once, used at every call.

At a call the requirement is an obligation, the fields that it may change get any value in their ranges, and
what it gives is a fact. `contract_obligations` in `contract_proofs.py` shows each on the function itself,
and that nothing else changes in any object.
"""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.interpreter import Interpreter
from host_sim.proof.whole.program import Function, Stamp
from host_sim.proof.whole.ranges import PERIOD_MAX_US, SPEED_MAX_MM_PER_S, STAMP, TRUTH
from host_sim.proof.whole.terms import (
    add,
    at_least,
    at_most,
    both,
    equal,
    implies,
    less,
    multiply,
    negate,
    subtract,
)

Span = tuple[int, int] | str
INPUTS = "inputs"
Claims = list[tuple[str, Any]]


class Call:
    """One call: arguments and fields before it by `of`, later its `result` and the fields `after` it."""

    def __init__(self, whole: Interpreter, function: Function, arguments: list[Any]) -> None:
        """Name the arguments."""
        self.whole = whole
        self.owner = function.owner
        names = [arg.arg for arg in function.node.args.args]
        given = ([function.owner] if function.owner is not None else []) + arguments
        self.arguments = dict(zip(names, given, strict=True))
        self.store = dict(whole.store)
        self.later = self.store
        self.result: Any = None

    def of(self, name: str) -> Any:
        """Return an argument, or a field of the object before the call."""
        value = self.arguments[name] if name in self.arguments else self._field(self.store, name)
        return value.offset if isinstance(value, Stamp) else value

    def after(self, name: str) -> Any:
        """Return a field of the object after the call."""
        value = self._field(self.later, name)
        return value.offset if isinstance(value, Stamp) else value

    def _field(self, store: dict[Any, Any], path: str) -> Any:
        value: Any = self.owner
        for name in path.split("."):
            value = store[value.number, name]
        return value


class Contract:
    """`arguments` and `changes` with their ranges, `gives` the range of the result (None: nothing)."""

    def __init__(
        self,
        title: str,
        module: str,
        arguments: dict[str, Span],
        changes: dict[str, Span],
        gives: Span | None,
        needs: Callable[[Call], Claims],
        ensures: Callable[[Call], Claims],
    ) -> None:
        """Keep the parts."""
        self.title = title
        self.module = module
        self.arguments = arguments
        self.changes = changes
        self.gives = gives
        self.needs = needs
        self.ensures = ensures

    def __call__(self, whole: Interpreter, function: Function, arguments: list[Any]) -> Any:
        """Take the place of a call."""
        call = Call(whole, function, arguments)
        for what, claim in self.all_needs(call):
            whole.must(self.title, f"needs: {what}", claim)
        number = len(whole.facts)
        for name, span in self.changes.items():
            fresh = any_value(f"{self.title}.{number}.{name}", span)
            assert call.owner is not None
            whole.store[call.owner.number, name] = Stamp(fresh) if span == STAMP else fresh
        call.later = whole.store
        call.result = None if self.gives is None else any_value(f"{self.title}.{number}", self.gives)
        whole.fact(terms.every(*(claim for _, claim in self.ensures(call))))
        return call.result

    def all_needs(self, call: Call) -> Claims:
        """Return what it needs: arguments in their ranges, and the rest."""
        claims = list(self.needs(call))
        for name, span in self.arguments.items():
            if not isinstance(span, str):
                value = call.of(name)
                claims.append(
                    (
                        f"{name} is {span[0]} to {span[1]}",
                        both(at_least(value, span[0]), at_most(value, span[1])),
                    )
                )
        return claims


def any_value(name: str, span: Span) -> Any:
    """Return a new variable."""
    if span == TRUTH:
        return terms.truth(name)
    if isinstance(span, str):
        return terms.integer(name, -(1 << 30) + 1, 1 << 30)
    return terms.integer(name, *span)


def _nothing(call: Call) -> Claims:
    return []


def _nearer_gives(call: Call) -> Claims:
    return [("at most the limit", at_most(call.result, call.of("_current_limit_ma")))]


def _motor_needs(call: Call) -> Claims:
    return [("a span", less(0, call.of("_span_mv")))]


def _speed_needs(call: Call) -> Claims:
    return [
        ("over the start by no more than the span", at_most(call.of("over_mv"), call.of("_span_mv"))),
        *_motor_needs(call),
    ]


def _speed_gives(call: Call) -> Claims:
    return [
        ("no more than the battery's", at_most(call.after("motor_mv"), call.of("battery_mv"))),
        ("at most the limit", at_most(call.after("current_ma"), call.of("_current_limit_ma"))),
    ]


def _power_gives(call: Call) -> Claims:
    return []


def _command_gives(call: Call) -> Claims:
    highest = add(call.of("_start_mv"), call.of("_span_mv"))
    return [
        (
            "from the start to the highest",
            both(at_least(call.result, call.of("_start_mv")), at_most(call.result, highest)),
        )
    ]


def _ceiling_needs(call: Call) -> Claims:
    return [
        *_motor_needs(call),
        ("a ceiling within the limit", at_most(call.of("_ceiling_ma"), call.of("_current_limit_ma"))),
    ]


def _ceiling_gives(call: Call) -> Claims:
    torque = both(call.of("known"), negate(call.of("speed_kind")))
    share_mv = terms.divide(
        multiply(call.after("_ceiling_ma"), call.of("_span_mv")), call.of("_current_limit_ma")
    )
    of_model = implies(torque, equal(call.result, add(call.of("_start_mv"), share_mv)))
    return [
        ("the command of the ceiling's current", of_model),
        *_command_gives(call),
        ("within the limit", at_most(call.after("_ceiling_ma"), call.of("_current_limit_ma"))),
    ]


def _loop_needs(call: Call) -> Claims:
    return [
        ("an integral in its range", at_most(call.of("_integral_uv"), call.of("_range_uv"))),
        ("a target in its range", at_most(call.of("_target_uv"), call.of("_range_uv"))),
        ("a rest below its divisor", less(call.of("_carry"), call.of("_integral_units"))),
    ]


def _loop_gives(call: Call) -> Claims:
    target_mv = add(call.of("_start_mv"), terms.divide(call.after("_target_uv"), 1000))
    return [
        ("an integral in its range", at_most(call.after("_integral_uv"), call.of("_range_uv"))),
        ("a target in its range", at_most(call.after("_target_uv"), call.of("_range_uv"))),
        ("a rest below its divisor", less(call.after("_carry"), call.of("_integral_units"))),
        ("the target of its microvolts", equal(call.after("target_mv"), target_mv)),
        ("what it returns", equal(call.result, target_mv)),
        ("its own time or that of the call", _own_time(call)),
    ]


def _own_time(call: Call) -> Any:
    return terms.either(
        equal(call.after("_last_us"), call.of("now_us")), equal(call.after("_last_us"), call.of("_last_us"))
    )


def _follow_gives(call: Call) -> Claims:
    return [
        ("its own time or that of the call", _own_time(call)),
        ("an integral in its range", at_most(call.after("_integral_uv"), call.of("_range_uv"))),
        ("a rest below its divisor", less(call.after("_carry"), call.of("_integral_units"))),
    ]


def _move_gives(call: Call) -> Claims:
    command_mv, before_mv, target_mv = call.after("command_mv"), call.of("command_mv"), call.of("target_mv")
    span_us = terms.maximum(terms.minimum(subtract(call.of("now_us"), call.of("_last_us")), 100_000), 0)
    budget_nv = add(call.of("_carry_nv"), terms.spread(call.of("rate_mv_per_s"), span_us))
    risen_nv = multiply(subtract(command_mv, before_mv), 1_000_000)
    return [
        ("no faster than the rate", at_most(risen_nv, budget_nv)),
        (
            "no rest that was not there",
            implies(less(before_mv, command_mv), at_most(add(risen_nv, call.after("_carry_nv")), budget_nv)),
        ),
        (
            "not past the target from below",
            implies(
                at_most(before_mv, target_mv),
                both(at_least(command_mv, before_mv), at_most(command_mv, target_mv)),
            ),
        ),
        (
            "not past the target from above",
            implies(
                at_least(before_mv, target_mv),
                both(at_most(command_mv, before_mv), at_least(command_mv, target_mv)),
            ),
        ),
        ("what it returns", equal(call.result, command_mv)),
        ("the time of the call", equal(call.after("_last_us"), call.of("now_us"))),
    ]


def _fading_gives(call: Call) -> Claims:
    value = call.of("value")
    return [
        ("nothing from the end on", implies(at_least(value, call.of("end")), equal(call.result, 0))),
        (
            "all up to the start",
            implies(
                both(at_most(value, call.of("start")), less(value, call.of("end"))), equal(call.result, 1000)
            ),
        ),
    ]


def _rising_gives(call: Call) -> Claims:
    value = call.of("value")
    return [
        ("nothing up to the start", implies(at_most(value, call.of("start")), equal(call.result, 0))),
        (
            "all from the end on",
            implies(
                both(at_least(value, call.of("end")), less(call.of("start"), value)), equal(call.result, 1000)
            ),
        ),
    ]


def _gap_gives(call: Call) -> Claims:
    pitches_us = multiply(terms.divide(call.of("pitch_us"), 100), call.of("_stop_pitch_percent"))
    speed = call.of("speed_mm_per_s")
    left_ms = subtract(
        terms.divide(multiply(call.of("_cutoff_distance_mm"), 1000), speed), call.of("_spent_ms")
    )
    left_us = multiply(terms.maximum(left_ms, 0), 1000)
    return [
        (
            "no more than the edge gap at the release cadence",
            at_most(call.result, call.of("_release_gap_us")),
        ),
        (
            "no more than its share of the pitch",
            implies(less(0, call.of("pitch_us")), at_most(call.result, pitches_us)),
        ),
        (
            "no more than what the cut-off distance leaves",
            implies(less(0, speed), at_most(call.result, left_us)),
        ),
    ]


def _rate_needs(call: Call) -> Claims:
    waited_us = subtract(call.of("now_us"), call.of("_last_us"))
    recent = both(at_least(waited_us, -(1 << 29)), less(waited_us, 1 << 29))
    return [
        ("a period of at least 10 us", at_least(call.of("_period_us"), 10)),
        ("a recent stamp", terms.either(call.of("standing"), recent)),
    ]


def _rate_gives(call: Call) -> Claims:
    waited_us = subtract(call.of("now_us"), call.of("_last_us"))
    stands = terms.either(call.of("standing"), less(call.of("_still_us"), waited_us))
    slow = at_most(call.of("_scale"), multiply(terms.divide(call.of("_period_us"), 10), SPEED_MAX_MM_PER_S))
    return [
        ("a standstill is latched", terms.same(call.after("standing"), stands)),
        ("what stands has no rate", implies(stands, equal(call.result, 0))),
        ("no more than its scale", at_most(call.result, call.of("_scale"))),
        (
            "no quicker than a wheel whose last period was none",
            implies(slow, at_most(call.result, SPEED_MAX_MM_PER_S)),
        ),
    ]


def _lag_needs(call: Call) -> Claims:
    return [
        (f"{name} in its range", both(at_least(call.of(name), 0), at_most(call.of(name), 20_000)))
        for name in ("_lagged", "_lagged_twice")
    ]


def _permit_gives(call: Call) -> Claims:
    inputs = call.arguments["inputs"]
    sampled = call.store[inputs.number, "sampled_us"].offset
    age_us = subtract(call.of("now_us"), sampled)
    recent = both(less(age_us, 1 << 29), at_most(-(1 << 29), age_us))
    nothing, command_mv = equal(call.result, 0), call.of("command_mv")
    since_us = subtract(call.of("now_us"), call.of("_now_us"))
    back = both(less(since_us, 0), at_most(-(1 << 29), since_us))
    return [
        ("never more than the command", at_most(call.result, command_mv)),
        ("never more than the highest", at_most(call.result, call.of("_highest_mv"))),
        ("nothing with the brake", implies(call.store[inputs.number, "brake_pulled"], nothing)),
        (
            "nothing from old readings",
            implies(both(recent, terms.either(less(50_000, age_us), less(age_us, 0))), nothing),
        ),
        ("nothing where the clock went back", implies(back, both(nothing, negate(call.after("_turning"))))),
        ("the time of the call", equal(call.after("_now_us"), call.of("now_us"))),
    ]


def _ceilings_give(call: Call) -> Claims:
    """Return what the ceilings give."""
    nothing = equal(call.result, 0)
    fast = at_least(call.of("speed_mm_per_s"), call.of("_cutoff_speed_mm_per_s"))
    empty = at_most(call.of("battery_mv"), call.of("_battery_empty_mv"))
    hot = both(
        call.of("_heat_sensor_fitted"),
        at_least(call.of("motor_decicelsius"), call.of("_heat_limit_decicelsius")),
    )
    return [
        ("what it returns", equal(call.result, call.after("ceiling_w"))),
        ("at most the power limit", at_most(call.result, call.of("_power_limit_w"))),
        ("nothing at the cut-off speed", implies(fast, nothing)),
        ("nothing from an empty battery", implies(empty, nothing)),
        ("nothing at the highest heat", implies(hot, nothing)),
    ]


def _ceilings_need(call: Call) -> Claims:
    pairs = (
        ("_taper_start_mm_per_s", "_cutoff_speed_mm_per_s"),
        ("_startup_speed_mm_per_s", "_cutoff_speed_mm_per_s"),
        ("_battery_empty_mv", "_battery_foldback_mv"),
        ("_heat_foldback_decicelsius", "_heat_limit_decicelsius"),
    )
    return [(f"{low} below {high}", less(call.of(low), call.of(high))) for low, high in pairs]


def _event_gives(call: Call) -> Claims:
    event = call.result
    stopped, slow = call.of("_pedalling.stopped"), call.of("_pedalling.slow")
    shared = less(0, call.of("_throttle.share_permille"))
    freely = equal(call.of("_throttle_unpedalled"), 2)
    below = less(call.of("_wheel.speed_mm_per_s"), call.of("_startup_speed_mm_per_s"))
    may = terms.either(freely, both(equal(call.of("_throttle_unpedalled"), 1), below))
    fault = less(0, call.of("fault_cause"))
    by_throttle = terms.either(equal(event, 4), equal(event, 8))
    return [
        ("a fault and nothing else for a cause", terms.same(equal(event, 0), fault)),
        ("at least a brake for a brake", implies(call.of("brake_pulled"), at_most(event, 1))),
        ("at least backward for backward", implies(call.of("_pedalling.backward"), at_most(event, 2))),
        ("pedalling only where it engages", implies(equal(event, 3), call.of("_pedalling.engages"))),
        ("the throttle only where it is open and may drive", implies(by_throttle, both(shared, may))),
        (
            "the last two only where nothing has stopped",
            implies(at_least(event, 8), both(negate(stopped), negate(slow))),
        ),
    ]


def _state_gives(call: Call) -> Claims:
    event, before, after = call.of("event"), call.of("state"), call.after("state")
    stays = both(equal(before, 2), at_least(event, 8))
    return [
        ("what it returns", equal(call.result, after)),
        ("the event", equal(call.after("event"), event)),
        ("a fault's state for a fault and nothing else", terms.same(equal(after, 5), equal(event, 0))),
        (
            "no drive for brake and backward",
            implies(at_most(event, 2), terms.either(less(after, 2), less(3, after))),
        ),
        (
            "assisting by pedalling, or as before",
            implies(equal(after, 2), terms.either(equal(event, 3), stays)),
        ),
        (
            "throttling by the throttle",
            implies(equal(after, 3), terms.either(equal(event, 4), equal(event, 8))),
        ),
    ]


GATE: dict[str, Span] = {
    **dict.fromkeys(("_turning", "_rise_seen", "_fall_seen", "_wheel_seen", "_throttle_rest_seen"), TRUTH),
    **dict.fromkeys(("_now_us", "_fall_us", "_edge_us", "_wheel_us"), STAMP),
    "_behind": (0, 4),
    "_wheel_period_us": (0, PERIOD_MAX_US),
}
MODEL = "firmware.sense.motor_model"
LOOP = "firmware.drive.power_loop"
READING: Span = (0, 100_000)
MICROVOLTS: Span = (0, 5_000_000)
LOOP_STATE: dict[str, Span] = {"_integral_uv": MICROVOLTS, "_carry": (0, 199_999), "_last_us": STAMP}

CONTRACTS = (
    Contract(
        "Ceilings.step",
        "firmware.decide.ceilings",
        {
            "state": (0, 5),
            "speed_mm_per_s": (0, SPEED_MAX_MM_PER_S),
            "battery_mv": READING,
            "motor_decicelsius": (-500, 3_000),
        },
        {"ceiling_w": (0, 1_500), "lowest": (0, 4)},
        (0, 1_500),
        _ceilings_need,
        _ceilings_give,
    ),
    Contract(
        "Events.choose",
        "firmware.decide.events",
        {"fault_cause": (0, 17), "brake_pulled": TRUTH},
        {"_rest_samples": (0, 20)},
        (0, 9),
        lambda call: [("rest counted up to its limit", at_most(call.of("_rest_samples"), 20))],
        _event_gives,
    ),
    Contract(
        "Engagement.step",
        "firmware.decide.engagement",
        {"event": (0, 9)},
        {"event": (0, 9), "state": (0, 5)},
        (0, 5),
        lambda call: [
            ("a state of the table", both(at_least(call.of("state"), 0), at_most(call.of("state"), 5)))
        ],
        _state_gives,
    ),
    Contract(
        "OutputGuard.permit",
        "firmware.guard.output_guard",
        {"command_mv": (0, 5_000), "inputs": INPUTS, "now_us": STAMP},
        GATE,
        (0, 5_000),
        _nothing,
        _permit_gives,
    ),
    Contract(
        "MotorModel._follow",
        MODEL,
        {"command_mv": (0, 5_000)},
        {"_lagged": (0, 20_000), "_lagged_twice": (0, 20_000)},
        None,
        _lag_needs,
        _nothing,
    ),
    Contract("MotorModel.found_emf_mv", MODEL, {"current_ma": READING}, {}, (0, 5_000), _lag_needs, _nothing),
    Contract(
        "Pedalling._stop_gap_us",
        "firmware.decide.pedalling",
        {"pitch_us": (0, 4_000_000), "speed_mm_per_s": (0, SPEED_MAX_MM_PER_S)},
        {},
        (0, 3_750_000),
        _nothing,
        _gap_gives,
    ),
    Contract(
        "Supply.step",
        "firmware.sense.supply",
        {"battery_mv": READING, "current_ma": READING},
        {
            "_started": TRUTH,
            "_voltage_sum": (0, 3_200_031),
            "_current_sum": (0, 400_003),
            "battery_mv": READING,
            "current_ma": READING,
            "power_w": (0, 10_000),
        },
        None,
        lambda call: [
            ("a voltage sum in its range", at_most(call.of("_voltage_sum"), 3_200_031)),
            ("a current sum in its range", at_most(call.of("_current_sum"), 400_003)),
        ],
        lambda call: [("a start", call.after("_started"))],
    ),
    Contract(
        "Rotation.rate",
        "firmware.sense.rotation",
        {"now_us": STAMP},
        {"standing": TRUTH},
        (0, 300_000_000),
        _rate_needs,
        _rate_gives,
    ),
    Contract("MotorModel._drop_mv", MODEL, {"current_ma": (0, 200_000)}, {}, READING, _nothing, _nothing),
    Contract(
        "MotorModel._nearer_ma",
        MODEL,
        {"current_ma": (0, 200_000), "power_w": (0, 10_000)},
        {},
        (0, 200_000),
        _nothing,
        _nearer_gives,
    ),
    Contract(
        "MotorModel._power_w",
        MODEL,
        {"emf_mv": READING, "limiting_emf_mv": (0, 125_000)},
        {},
        (0, 200_000),
        _nothing,
        _power_gives,
    ),
    Contract(
        "MotorModel._predict_speed_kind",
        MODEL,
        {"over_mv": (0, 5_000), "power_w": (0, 10_000)},
        {"motor_mv": READING, "current_ma": (0, 200_000), "drop_mv": READING},
        None,
        _speed_needs,
        _speed_gives,
    ),
    Contract(
        "MotorModel.command_for",
        MODEL,
        {"voltage_mv": (0, 200_000)},
        {},
        (0, 5_000),
        _motor_needs,
        _command_gives,
    ),
    Contract(
        "MotorModel.command_change_uv",
        MODEL,
        {"voltage_mv": (-125_000, 125_000)},
        {},
        (-5_000_000, 5_000_000),
        _motor_needs,
        _nothing,
    ),
    Contract(
        "MotorModel.ceiling_mv",
        MODEL,
        {"allowed_w": (1, 1_500)},
        {"_ceiling_ma": (0, 200_000)},
        (0, 5_000),
        _ceiling_needs,
        _ceiling_gives,
    ),
    Contract(
        "PowerLoop.step",
        LOOP,
        {"allowed_w": (1, 1_500), "power_w": (0, 10_000), "applied_mv": (0, 5_000), "now_us": STAMP},
        {**LOOP_STATE, "_target_uv": MICROVOLTS, "target_mv": (0, 5_000)},
        (0, 5_000),
        _loop_needs,
        _loop_gives,
    ),
    Contract(
        "PowerLoop._follow",
        LOOP,
        {"applied_mv": (0, 5_000), "now_us": STAMP},
        LOOP_STATE,
        None,
        _loop_needs,
        _follow_gives,
    ),
    Contract(
        "SlewLimiter._move",
        "firmware.drive.slew_limiter",
        {"target_mv": (0, 5_000), "rate_mv_per_s": (1, 10_000), "now_us": STAMP},
        {"command_mv": (0, 5_000), "_carry_nv": (0, 999_999), "_last_us": STAMP},
        (0, 5_000),
        _nothing,
        _move_gives,
    ),
    Contract(
        "fading_permille",
        "firmware.integers",
        {"value": (-500, 30_000), "start": (0, 14_000), "end": (0, 14_000)},
        {},
        (0, 1_000),
        lambda call: [("start before the end", terms.at_most(call.of("start"), call.of("end")))],
        _fading_gives,
    ),
    Contract(
        "rising_permille",
        "firmware.integers",
        {"value": (0, 100_000), "start": (0, 100_000), "end": (0, 100_000)},
        {},
        (0, 1_000),
        lambda call: [("start before the end", less(call.of("start"), call.of("end")))],
        _rising_gives,
    ),
)
BY_TITLE: dict[str, Any] = {one.title: one for one in CONTRACTS}
KEEPING = {title: one for title, one in BY_TITLE.items() if title != "OutputGuard.permit"}
"""For the induction: the gate keeps its own invariant, so it is run itself there."""
