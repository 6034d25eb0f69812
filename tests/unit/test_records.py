"""The edge log loses nothing silently; inputs and outputs begin in the safe doubt."""

from hypothesis import given
from hypothesis import strategies as st

from firmware.records import EDGE_LOG_SIZE, EdgeLog, Inputs, Outputs


def filled(count: int) -> EdgeLog:
    log = EdgeLog()
    for number in range(count):
        log.record(number & 3, number)
    return log


def drained(log: EdgeLog) -> list:
    found = []
    while log.take():
        found.append((log.levels, log.time_us))
    return found


def test_an_empty_log_gives_nothing():
    assert not EdgeLog().take()


def test_edges_come_out_in_the_order_they_went_in():
    log = EdgeLog()
    log.record(1, 100)
    log.record(3, 250)
    assert drained(log) == [(1, 100), (3, 250)]


def test_63_edges_wait_and_the_64th_is_counted_and_dropped():
    assert EDGE_LOG_SIZE == 64
    log = filled(63)
    assert log.overruns == 0
    log.record(2, 63)
    assert log.overruns == 1
    found = drained(log)
    assert len(found) == 63
    assert found[0] == (0, 0)
    assert found[-1] == (2, 62)


def test_the_count_of_overruns_wraps_at_65536():
    log = filled(63)
    for _ in range(65_535):
        log.record(0, 0)
    assert log.overruns == 65_535
    log.record(0, 0)
    assert log.overruns == 0


@given(st.lists(st.booleans(), max_size=400))
def test_any_order_of_writing_and_reading_equals_a_queue_of_63(writes):
    log = EdgeLog()
    queue: list[int] = []
    dropped = 0
    for number, write in enumerate(writes):
        if write:
            log.record(number & 3, number)
            if len(queue) < 63:
                queue.append(number)
            else:
                dropped += 1
        else:
            assert log.take() == bool(queue)
            if queue:
                assert log.time_us == queue.pop(0)
    assert log.overruns == dropped
    assert [time_us for _, time_us in drained(log)] == queue


def test_inputs_begin_with_the_brake_pulled():
    inputs = Inputs()
    assert inputs.brake_pulled
    assert not inputs.clear_requested
    assert inputs.crank is not inputs.wheel


def test_outputs_begin_safe_and_can_be_made_safe_again():
    outputs = Outputs()
    assert outputs.command_mv == 0
    assert not outputs.drive_enabled
    assert outputs.valid_for_us == 50_000
    outputs.command_mv = 2_000
    outputs.drive_enabled = True
    outputs.make_safe()
    assert outputs.command_mv == 0
    assert not outputs.drive_enabled


def test_what_nobody_has_measured_is_zero_and_only_the_brake_is_pulled():
    inputs, outputs = Inputs(), Outputs()
    measured = (inputs.sampled_us, inputs.throttle_mv, inputs.selector_mv, inputs.battery_mv)
    assert (*measured, inputs.current_ma, inputs.motor_decicelsius) == (0,) * 6
    assert inputs.brake_pulled is True
    assert inputs.clear_requested is False
    assert (outputs.fault_cause, outputs.command_mv, outputs.drive_enabled) == (0, 0, False)


def test_a_log_that_holds_nothing_shows_nothing():
    log = EdgeLog()
    assert (log.levels, log.time_us) == (0, 0)
