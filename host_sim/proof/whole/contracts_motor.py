"""Contracts of the motor model's formulas."""

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import READING, Call, Claims, Contract, nothing
from host_sim.proof.whole.terms import add, at_least, at_most, both, equal, implies, less, multiply, negate

MODEL = "firmware.sense.motor_model"


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


def _lag_needs(call: Call) -> Claims:
    return [
        (f"{name} in its range", both(at_least(call.of(name), 0), at_most(call.of(name), 20_000)))
        for name in ("_lagged", "_lagged_twice")
    ]


CONTRACTS = (
    Contract(
        "MotorModel._follow",
        MODEL,
        {"command_mv": (0, 5_000)},
        {"_lagged": (0, 20_000), "_lagged_twice": (0, 20_000)},
        None,
        _lag_needs,
        nothing,
    ),
    Contract("MotorModel.found_emf_mv", MODEL, {"current_ma": READING}, {}, (0, 5_000), _lag_needs, nothing),
    Contract("MotorModel._drop_mv", MODEL, {"current_ma": (0, 200_000)}, {}, READING, nothing, nothing),
    Contract(
        "MotorModel._nearer_ma",
        MODEL,
        {"current_ma": (0, 200_000), "power_w": (0, 10_000)},
        {},
        (0, 200_000),
        nothing,
        _nearer_gives,
    ),
    Contract(
        "MotorModel._power_w",
        MODEL,
        {"emf_mv": READING, "limiting_emf_mv": (0, 125_000)},
        {},
        (0, 200_000),
        nothing,
        nothing,
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
        nothing,
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
)
