"""Whether the command sets the speed or the torque: from the speeds that held commands lead to, and how soon.

On the speed kind each command has its own speed, which is reached at once. On the torque kind every command
that turns the free wheel finally brings it to its top speed, a low one later. Anything else is refused.
"""

from itertools import pairwise

from host_sim.measuring.estimate import NotEnoughError
from host_sim.measuring.stand_data import COMMAND_APART_V, Hold
from host_sim.measuring.stand_laws import SPEED, TORQUE

LEVELS_LEAST = 3
OWN_SHARE = 0.85  # A settled speed below this share of the highest belongs to its command.
APART_SHARE = 0.05
TOP_SHARE = 0.95
AT_ONCE_S = 1.2  # The time constant of mass and winding resistance is at most 0.6 s, for heavy hubs.
SLOWER = 1.3  # The lowest command takes at least this many times as long as the highest.


def kind_of(holds: list[Hold]) -> str:
    """Return SPEED or TORQUE; NotEnoughError if there are too few holds, or they fit neither."""
    levels: list[list[Hold]] = []
    for hold in sorted(holds, key=lambda one: one.command_v):
        if not levels or hold.command_v > levels[-1][0].command_v + COMMAND_APART_V:
            levels.append([])
        levels[-1].append(hold)
    if len(levels) < LEVELS_LEAST:
        seen = ", ".join(f"{level[0].command_v:.2f} V" for level in levels) or "none"
        raise NotEnoughError(
            f"commands that the throttle was opened to and held at for more than a second: {seen}, at least "
            f"{LEVELS_LEAST} are needed, {COMMAND_APART_V:g} V apart"
        )
    own = [hold for hold in holds if hold.settled and hold.volts_share < OWN_SHARE]
    if own:
        if all(hold.late_s < AT_ONCE_S for hold in own) and _rising(levels):
            return SPEED
    elif (
        levels[-1][-1].settled
        and all(hold.volts_share > TOP_SHARE for hold in holds if hold.settled)
        and _soonest_s(levels[0]) > SLOWER * _soonest_s(levels[-1])
    ):
        return TORQUE
    lowest, highest = levels[0][0], levels[-1][-1]
    raise NotEnoughError(
        f"the kind of the motor controller is unclear: {lowest.command_v:.2f} V leads to "
        f"{lowest.volts_share:.0%} of the speed of {highest.command_v:.2f} V, but neither does each command "
        "lead to its own speed at once, nor do all lead to the same one, a low command later; use commands "
        "further apart, of which the lowest turns the wheel slowly"
    )


def _soonest_s(level: list[Hold]) -> float:
    return min(hold.opening_s + hold.late_s for hold in level)


def _rising(levels: list[list[Hold]]) -> bool:
    """Whether a higher command leads to a higher speed, up to the top speed."""
    shares = [sum(hold.volts_share for hold in level) / len(level) for level in levels]
    return all(after > before + APART_SHARE or before > TOP_SHARE for before, after in pairwise(shares))
