"""The true values of a ride, taken from the plant only, not from readings or the controller's estimates.

They are updated in every step of the plant, so a controller that hangs, or whose clock stops, is judged too.
"""

from host_sim.bench.clock import US_PER_S
from host_sim.bench.world import PlantWatch, World


class Bounds:
    """The limits: battery power in W, speed in m/s, and the throttle's permitted speed.

    `throttle_m_per_s` is the speed up to which an open throttle may drive without pedalling, 0 if it may
    not. When the throttle closes, its remaining help is measured like that of a stop.
    """

    __slots__ = ("power_w", "speed_m_per_s", "throttle_m_per_s")

    def __init__(self, power_w: float, speed_m_per_s: float, throttle_m_per_s: float) -> None:
        """Store the bounds, tolerances included."""
        self.power_w = power_w
        self.speed_m_per_s = speed_m_per_s
        self.throttle_m_per_s = throttle_m_per_s


class Truth(PlantWatch):
    """Sums of a ride from `from_us` on (0: the start).

    `over_speed_s`, `over_speed_j` (all battery energy up there), `peak_drive_m_per_s`: true drive, that is
    motor current above its no-load current (EN 15194 3.23, by the parallel text TBIS 15194:2019). Drive by an
    open throttle alone above its own speed limit counts as well. `over_power_s`, `over_power_j` (the part
    above the bound), `peak_power_w`: true battery power, where it does not count as too fast already.
    `unpedalled_s`, `unpedalled_m`: the most time and distance with help since the crank last turned forward,
    or a throttle that may drive was open. `unpedalled_j` is all energy of such help. `braked_s`: the longest
    help with the brake pulled. `driven_s`, `driven_j`: all help.
    """

    __slots__ = (
        "_bounds",
        "_unasked_m",
        "_unasked_s",
        "braked_s",
        "driven_j",
        "driven_s",
        "from_us",
        "over_power_j",
        "over_power_s",
        "over_speed_j",
        "over_speed_s",
        "peak_drive_m_per_s",
        "peak_power_w",
        "unpedalled_j",
        "unpedalled_m",
        "unpedalled_s",
    )

    def __init__(self, bounds: Bounds, from_us: int = 0) -> None:
        """Start at zero."""
        self._bounds = bounds
        self.from_us = from_us
        self._unasked_s = 0.0
        self._unasked_m = 0.0
        self.over_power_s = 0.0
        self.over_power_j = 0.0
        self.peak_power_w = 0.0
        self.over_speed_s = 0.0
        self.over_speed_j = 0.0
        self.peak_drive_m_per_s = 0.0
        self.unpedalled_s = 0.0
        self.unpedalled_m = 0.0
        self.unpedalled_j = 0.0
        self.braked_s = 0.0
        self.driven_s = 0.0
        self.driven_j = 0.0

    def passed(self, world: World, elapsed_s: float) -> None:
        """Evaluate the latest step of the plant."""
        bounds = self._bounds
        speed_m_per_s = world.bicycle.speed_m_per_s
        pedalled = world.last_forward_us == world.now_us
        asked = pedalled or (world.throttle_share > 0.0 and bounds.throttle_m_per_s > 0.0)
        if asked:
            self._unasked_s = 0.0
            self._unasked_m = 0.0
        if world.now_us < self.from_us:
            return
        power_w = world.motor.power_w
        self.peak_power_w = max(self.peak_power_w, power_w)
        helping = world.motor.assisting()
        fastest_m_per_s = bounds.speed_m_per_s if pedalled or not asked else bounds.throttle_m_per_s
        if helping and speed_m_per_s > fastest_m_per_s:
            self.over_speed_s += elapsed_s
            self.over_speed_j += power_w * elapsed_s
        elif power_w > bounds.power_w:
            self.over_power_s += elapsed_s
            self.over_power_j += (power_w - bounds.power_w) * elapsed_s
        if not helping:
            return
        self.driven_s += elapsed_s
        self.driven_j += power_w * elapsed_s
        self.peak_drive_m_per_s = max(self.peak_drive_m_per_s, speed_m_per_s)
        if not asked:
            self._unasked(speed_m_per_s, power_w, elapsed_s)
        if world.brake_share > 0.0:
            braked_s = float(world.now_us - world.brake_since_us) / US_PER_S
            self.braked_s = max(self.braked_s, braked_s)

    def _unasked(self, speed_m_per_s: float, power_w: float, elapsed_s: float) -> None:
        """Count help that neither the legs nor a permitted throttle request now."""
        self._unasked_s += elapsed_s
        self._unasked_m += speed_m_per_s * elapsed_s
        self.unpedalled_s = max(self.unpedalled_s, self._unasked_s)
        self.unpedalled_m = max(self.unpedalled_m, self._unasked_m)
        self.unpedalled_j += power_w * elapsed_s
