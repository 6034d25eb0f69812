"""The rider's and the road's behaviour over time: a course or a recording, applied to the world."""

from bisect import bisect_right
from math import pi

from host_sim.bench.clock import US_PER_S, Agenda, Event
from host_sim.bench.course import Course, Stretch
from host_sim.bench.faults import set_faults
from host_sim.bench.recording import Recording
from host_sim.bench.sim_board import Levers, SimBoard
from host_sim.bench.world import World
from host_sim.plant.rider import EFFORT, FOLLOW, HOLD, RIDDEN

RAD_PER_S_PER_RPM = 2.0 * pi / 60.0
LEAD_IN_S = 3  # A recording starts rolling: before that the bicycle stands this long, switched on.
BRAKES_FROM_SHARE = 0.5  # A rider who needs this much of the brakes to stop in time does not wait. Judgement.
NEVER = 1_000_000_000  # Seconds: no recording is as long.
RAMP_STEP_US = 20_000  # Gradual changes are made in steps of this length.


class Script(Event):
    """Plays one course or recording. Read: `name`, `title`, `seconds`."""

    def __init__(self, name: str, title: str, seconds: float) -> None:
        """Describe the script; nothing happens before `begin`."""
        self.name = name
        self.title = title
        self.seconds = seconds

    def begin(self, world: World, board: SimBoard, levers: Levers, agenda: Agenda) -> None:
        """Join the bench, set the world up for time 0 and schedule the first change."""
        self._world = world
        self._board = board
        self._levers = levers
        self._agenda = agenda
        self.rewind()
        self.happen()

    def rewind(self) -> None:
        """Restart the script."""


class CourseScript(Script):
    """A scripted ride."""

    def __init__(self, course: Course) -> None:
        """Play `course`."""
        super().__init__(course.name, course.title, course.seconds)
        self._course = course
        self.rewind()

    def rewind(self) -> None:
        """Restart at the first stretch."""
        self._next = 0
        self._ramp_until_us = 0

    def happen(self) -> None:
        """Apply the course's present values to the world, and schedule the next change."""
        now_us = self._agenda.now_us
        stretches = self._course.stretches
        while self._next < len(stretches) and stretches[self._next].at_s * US_PER_S <= now_us:
            stretch = stretches[self._next]
            self._ramp_until_us = round((stretch.at_s + stretch.over_s) * US_PER_S)
            set_faults(self._world, [fault.as_spec() for fault in stretch.faults])
            if stretch.charge is not None:
                self._world.battery.charge = stretch.charge
            if stretch.motor_celsius is not None:
                self._world.motor.temperature_celsius = stretch.motor_celsius
            self._next += 1
        # A ramp ends exactly at the stretch's value, without rounding.
        ramping = now_us < self._ramp_until_us
        self._apply(self._course.at(now_us / US_PER_S) if ramping else stretches[self._next - 1])
        again_us = []
        if ramping:
            again_us.append(min(now_us + RAMP_STEP_US, self._ramp_until_us))
        if self._next < len(stretches):
            again_us.append(int(stretches[self._next].at_s * US_PER_S))
        if again_us:
            self._agenda.put(max(min(again_us), now_us + 1), self)

    def _apply(self, stretch: Stretch) -> None:
        world = self._world
        rider = world.rider
        rider.target_rad_per_s = stretch.cadence_rpm * RAD_PER_S_PER_RPM
        rider.development_m = stretch.gear_m
        rider.power_w = 0.0 if stretch.crank_free else stretch.effort_w
        rider.mode = EFFORT
        if stretch.crank_free:
            rider.mode = FOLLOW
        elif stretch.cadence_held:
            rider.mode = HOLD
        world.grade = stretch.grade
        world.wind_m_per_s = stretch.wind_m_per_s
        world.roller_m_per_s = stretch.roller_m_per_s
        world.turn_throttle(stretch.throttle_share)
        world.selector_v = self._levers.selector_v(stretch.selector_share, stretch.selector_position)
        world.pull_brake(1.0 if stretch.brake_pulled else 0.0)
        self._board.powered = stretch.power_switched_on


class RecordingScript(Script):
    """A recorded ride: cadence, rider power, brakes and grade second by second, the selector at full.

    The bench may be faster or slower than the recording was. Hills stay where they are. While the recorded
    rider braked, ours loses the same share of the speed, and in time: where the recording stands, the bench
    stands.
    """

    def __init__(self, recording: Recording) -> None:
        """Play `recording`."""
        super().__init__(recording.name, recording.name, float(recording.seconds + LEAD_IN_S))
        self._recording = recording
        self._rest_at = _next_rests(recording.standing)
        self.rewind()

    def rewind(self) -> None:
        """Restart at the lead-in."""
        self._second = -LEAD_IN_S

    def happen(self) -> None:
        """Play the next second."""
        world = self._world
        recording = self._recording
        second = self._second
        rider = world.rider
        rider.mode = RIDDEN
        world.selector_v = self._levers.selector_v(1.0, None)
        if second < 0:
            self._second = 0
            self._agenda.put(LEAD_IN_S * US_PER_S, self)
            return
        rider.target_rad_per_s = recording.cadence_rpm[second] * RAD_PER_S_PER_RPM
        rider.power_w = recording.rider_power_w[second]
        world.grade = self._grade(second)
        world.pull_brake(self._brake_share(second))
        self._second += 1
        if self._second < recording.seconds:
            self._agenda.put((self._second + LEAD_IN_S) * US_PER_S, self)

    def _grade(self, second: int) -> float:
        """Return the grade where the bicycle is now; beyond the recorded road it is level."""
        recording = self._recording
        if not recording.place_m:
            return recording.grade[second]
        way_m = self._world.bicycle.distance_m
        if way_m > recording.place_m[-1]:
            return 0.0
        return recording.grade[max(bisect_right(recording.place_m, way_m) - 1, 0)]

    def _brake_share(self, second: int) -> float:
        """Return how far the brakes are pulled in this second."""
        recording = self._recording
        if recording.standing[second]:
            return 1.0
        world = self._world
        speed_m_per_s = world.bicycle.speed_m_per_s
        share = 0.0
        if recording.braking[second]:
            before_m_per_s = recording.speed_m_per_s[second]
            after_m_per_s = recording.speed_m_per_s[min(second + 1, recording.seconds - 1)]
            lost = max(1.0 - after_m_per_s / before_m_per_s, 0.0) if before_m_per_s > 0.0 else 1.0
            share = world.bicycle.brake_share_for(lost * speed_m_per_s, world.grade, world.wind_m_per_s)
        until_rest_s = float(self._rest_at[second] - second)
        needed = world.bicycle.brake_share_for(speed_m_per_s / until_rest_s, world.grade, world.wind_m_per_s)
        return max(share, needed) if needed > BRAKES_FROM_SHARE else share


def _next_rests(standing: list[bool]) -> list[int]:
    """Return for each second the next one in which the bicycle stands; NEVER where there is none."""
    rests = [NEVER] * len(standing)
    next_rest = NEVER
    for second in range(len(standing) - 1, -1, -1):
        if standing[second]:
            next_rest = second
        rests[second] = next_rest
    return rests
