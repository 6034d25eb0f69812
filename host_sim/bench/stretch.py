"""One stretch of a course with every field resolved, and interpolation between two of them."""

from host_sim.bench.course_table import FaultTable

EFFORT_AT_FIRST_W = 100.0  # What a healthy adult keeps up easily (princeton.edu/~maelabs/hpt).

ON_THE_ROAD = -1.0
_FIELDS = (
    "at_s",
    "brake_pulled",
    "cadence_held",
    "cadence_rpm",
    "charge",
    "crank_free",
    "effort_w",
    "faults",
    "gear_m",
    "grade",
    "motor_celsius",
    "over_s",
    "power_switched_on",
    "roller_m_per_s",
    "selector_position",
    "selector_share",
    "throttle_share",
    "wind_m_per_s",
)


class Stretch:
    """The values from `at_s` on, or reached `over_s` later. Read only.

    While `cadence_held`, the rider turns `cadence_rpm` (negative: backward) with `effort_w`; else `effort_w`
    alone counts, and `cadence_rpm` is what the gears are shifted for. `crank_free`: the crank turns at its
    cadence and drives nothing, as on a work stand without chain. `gear_m` is the development, 0 = automatic.
    `grade` is rise over run, head wind is positive, `throttle_share` and `selector_share` run from 0 to 1 of
    the lever's travel; `selector_position` (from 1) is None while `selector_share` counts. `roller_m_per_s`
    is the speed that a roller gives the wheel, -1 on the road. `charge` and `motor_celsius` are set when the
    stretch begins, unless they are None.
    """

    __slots__ = _FIELDS

    def __init__(self) -> None:
        """Start on a level road, power on, levers at rest, selector full."""
        self.at_s = 0.0
        self.over_s = 0.0
        self.cadence_rpm = 0.0
        self.effort_w = EFFORT_AT_FIRST_W
        self.cadence_held = True
        self.crank_free = False
        self.gear_m = 0.0
        self.grade = 0.0
        self.wind_m_per_s = 0.0
        self.throttle_share = 0.0
        self.selector_share = 1.0
        self.selector_position: int | None = None
        self.brake_pulled = False
        self.power_switched_on = True
        self.roller_m_per_s = ON_THE_ROAD
        self.charge: float | None = None
        self.motor_celsius: float | None = None
        self.faults: tuple[FaultTable, ...] = ()

    def copy(self) -> "Stretch":
        """Return a copy."""
        other = Stretch()
        for name in _FIELDS:
            setattr(other, name, getattr(self, name))
        return other


def between(earlier: Stretch, later: Stretch, share: float) -> Stretch:
    """Return `later` with its gradual values only `share` (0 to 1) of the way from `earlier`."""
    mixed = later.copy()
    for name in ("cadence_rpm", "effort_w", "grade", "wind_m_per_s", "throttle_share", "selector_share"):
        start = getattr(earlier, name)
        setattr(mixed, name, start + (getattr(later, name) - start) * share)
    if earlier.roller_m_per_s >= 0.0:
        roll = later.roller_m_per_s - earlier.roller_m_per_s
        mixed.roller_m_per_s = earlier.roller_m_per_s + roll * share
    return mixed
