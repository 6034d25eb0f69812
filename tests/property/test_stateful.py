"""A rider, a workshop and bad luck do as they like to the controller; every promise holds after each step."""

from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from firmware.decide.engagement import ASSISTING, FAULTED, THROTTLING, WAITING
from firmware.settings import Settings
from host_sim.rig.rig import WRAP_US, Rig
from host_sim.testing.legal_settings import legal_settings
from tests.property.pairs import (
    RUNS_A_KIND,
    RUNS_OF_ANY,
    Kind,
    driving_settings,
    every_kind,
    start_driving,
)
from tests.property.watch import Watch

starts_us = st.just(WRAP_US - 1_000) | st.integers(0, WRAP_US - 1)
spans_ms = st.sampled_from([5, 20, 100, 400, 1_200])


class Bicycle(RuleBasedStateMachine):
    """One bicycle from power-up on."""

    rig: Rig
    watch: Watch

    @initialize(
        settings=legal_settings(),
        start_us=starts_us,
        rested=st.booleans(),
    )
    def power_up(self, settings: Settings, start_us: int, rested: bool):
        self.build(settings, start_us)
        if rested:
            self.rig.ready()

    def build(self, settings: Settings, start_us: int) -> None:
        """Put the bicycle together and watch it."""
        self.rig = Rig(settings, start_us)
        self.watch = Watch(self.rig)
        self.rested = False
        self.cleared = False
        self.first_cause = 0
        self.rig.after_step.append(self.note)

    def note(self, rig: Rig, before_mv: int) -> None:
        """Keep the account of rest and of faults, step by step."""
        del before_mv
        cause = rig.outputs.fault_cause
        if self.first_cause and not rig.clear_requested:
            assert cause == self.first_cause, "a fault stays, with its first cause, until it is cleared"
        if cause or (self.first_cause and not cause):
            self.rested = False
        if rig.state not in (WAITING, FAULTED):
            self.rested = True
        self.first_cause = cause
        if rig.command_mv > 0:
            assert self.rested, "nothing drives before the controls were at rest"
            assert rig.state in (ASSISTING, THROTTLING)

    @rule(rpm=st.sampled_from([20, 45, 60, 80, 110]) | st.integers(1, 220), span_ms=spans_ms)
    def pedal(self, rpm: int, span_ms: int):
        self.rig.run(span_ms, rpm=rpm)

    @rule(span_ms=spans_ms)
    def ride_on(self, span_ms: int):
        """Do what makes the motor help: levers, battery, motor and speed as they should be, and pedal."""
        rig = self.rig
        rig.brake_pulled = False
        rig.release_throttle()
        rig.selector_mv = int(rig.settings.selector_high_mv)
        rig.battery_mv = int(rig.settings.battery_highest_mv) - 1
        rig.motor_decicelsius = 200
        rig.wheel_mm_per_s = min(1_000, int(rig.settings.taper_start_mm_per_s) * 3 // 4)
        rig.run(span_ms, rpm=int(rig.settings.engage_rpm) * 4 // 3 + 90)

    @rule(span_ms=spans_ms)
    def stop_pedalling(self, span_ms: int):
        self.rig.run(span_ms, rpm=0)

    @rule(rpm=st.integers(1, 120), span_ms=spans_ms)
    def pedal_backward(self, rpm: int, span_ms: int):
        self.rig.run(span_ms, rpm=-rpm)

    @rule(pulled=st.booleans(), span_ms=spans_ms)
    def brake(self, pulled: bool, span_ms: int):
        self.rig.run(span_ms, brake_pulled=pulled)

    @rule(throttle_mv=st.integers(0, 5_000), span_ms=spans_ms)
    def throttle(self, throttle_mv: int, span_ms: int):
        self.rig.run(span_ms, throttle_mv=throttle_mv)

    @rule(open_wholly=st.booleans(), span_ms=spans_ms)
    def throttle_by_hand(self, open_wholly: bool, span_ms: int):
        if open_wholly:
            self.rig.full_throttle()
        else:
            self.rig.release_throttle()
        self.rig.run(span_ms)

    @rule(selector_mv=st.integers(0, 5_000))
    def select(self, selector_mv: int):
        self.rig.run(20, selector_mv=selector_mv)

    @rule(speed=st.sampled_from([0, 1_000, 4_000, 6_500, 9_000]) | st.integers(0, 20_000), span_ms=spans_ms)
    def roll(self, speed: int, span_ms: int):
        self.rig.run(span_ms, wheel_mm_per_s=speed)

    @rule(battery_mv=st.integers(0, 100_000))
    def battery(self, battery_mv: int):
        self.rig.run(100, battery_mv=battery_mv)

    @rule(decicelsius=st.integers(-500, 3_000))
    def heat(self, decicelsius: int):
        self.rig.run(50, motor_decicelsius=decicelsius)

    @rule(current_ma=st.integers(-1_000, 100_000), span_ms=spans_ms)
    def current(self, current_ma: int, span_ms: int):
        self.rig.run(span_ms, draws_current=False, current_ma=current_ma)
        self.rig.draws_current = True

    @rule(edges=st.lists(st.tuples(st.integers(0, 3), st.integers(0, 4_999)), min_size=1, max_size=80))
    def noise(self, edges: list):
        self.watch.noisy = True
        for levels, after_us in sorted(edges, key=lambda edge: edge[1]):
            self.rig.crank_edge(levels, after_us)
        self.rig.step()

    @rule(span_us=st.integers(0, 300_000))
    def stall(self, span_us: int):
        self.rig.step(span_us)

    @rule(span_us=st.integers(300_000, 2**29 - 1))
    def stop_the_clock(self, span_us: int):
        self.rig.rpm = 0
        self.rig.wheel_mm_per_s = 0
        self.rig.step(span_us)

    @rule(now=st.booleans())
    @precondition(lambda self: self.first_cause != 0)
    def clear(self, now: bool):
        self.rig.clear_requested = now
        self.rig.step()
        self.rig.clear_requested = False

    @rule()
    def rest(self):
        rig = self.rig
        rig.rpm = 0
        rig.brake_pulled = False
        rig.release_throttle()
        rig.ready()

    @invariant()
    def what_is_said_agrees(self):
        outputs = self.rig.outputs
        assert outputs.valid_for_us == 50_000
        if outputs.fault_cause:
            assert outputs.indicator == 3
            assert self.rig.state == FAULTED
        elif outputs.command_mv > 0:
            assert outputs.indicator == 2
        elif self.rig.elapsed_us > 0:
            assert outputs.indicator == (0 if self.rig.state == WAITING else 1)


class DrivingBicycle(Bicycle):
    """One bicycle that has begun to drive when the rules begin. A subclass says which kind."""

    runs_that_drove = 0

    def build(self, settings: Settings, start_us: int) -> None:
        """Ride until the motor helps."""
        super().build(settings, start_us)
        start_driving(self.rig)

    def teardown(self):
        type(self).runs_that_drove += self.watch.drove


def bicycle_of(kind: Kind) -> type[DrivingBicycle]:
    """Return the driving bicycle of one kind."""

    class OfKind(DrivingBicycle):
        @initialize(settings=driving_settings(**kind), start_us=starts_us)
        def power_up(self, settings: Settings, start_us: int):
            self.build(settings, start_us)

    return OfKind


@every_kind
def test_a_bicycle_that_drives_keeps_every_promise_whatever_comes(kind: Kind):
    bicycle = bicycle_of(kind)
    limits = hypothesis_settings(max_examples=RUNS_A_KIND, stateful_step_count=25)
    run_state_machine_as_test(bicycle, settings=limits)
    assert bicycle.runs_that_drove >= RUNS_A_KIND


TestBicycle = Bicycle.TestCase
TestBicycle.settings = hypothesis_settings(max_examples=RUNS_OF_ANY, stateful_step_count=25)
