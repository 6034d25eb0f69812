"""Checks that a controller uses integers of 31 bits only, which a 32-bit MicroPython does not allocate."""

from itertools import product

from host_sim.bench.foreign import Build, hosted
from host_sim.errors import ControllerFailed
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US, Rig
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

STARTS_US = (BEFORE_WRAP_US, 0, WRAP_US // 2)  # An edge that never was is as long ago as the clock shows.
# What the rig does one after the other: for how many ms, at which cadence and speed.
COURSE = (
    (1_500, 0, 0),
    (3_000, 60, 3_000),
    (1_000, 110, 6_500),
    (1_000, 0, 6_500),
    (1_000, -40, 2_000),
    (1_000, 200, 15_000),
)


def assert_small_integers(controller: Build | None = None, **settings: int) -> None:
    """Ride a rig that passes every number as a SmallInt; fail if a result exceeds 31 bits or is a float.

    The rides begin at different times of the clock and cross its wrap, with the throttle closed and open.
    `settings` change the defaults. Numbers that the controller does not compute from inputs, settings or time
    are plain integers and are not checked.
    """
    for start_us, throttle_open in product(STARTS_US, (False, True)):
        rig = Rig(settings_with(**settings), start_us, number=SmallInt, build=hosted(controller))
        try:
            for span_ms, rpm, speed in COURSE:
                if throttle_open and rpm > 0:
                    rig.full_throttle()
                rig.run(span_ms, rpm=rpm, wheel_mm_per_s=speed)
        except ControllerFailed as failure:
            if isinstance(failure.__cause__, OverflowError | TypeError):
                raise AssertionError(str(failure)) from failure
            raise
