"""What every board owes the loop, checked on the real boards' adapters with a fake `machine`.

Runs on CPython (tests/unit/test_boards.py calls `check`) and under MicroPython, where the fake's critical
section locks the heap: micropython tests/board_contract.py rpi_pico|esp32_devkitc|pyboard. Each check is a
function whose name is a sentence; they take a fresh board each, the fake hardware and the pins.
"""

# ruff: noqa: T201

import sys

PORTS = {"rpi_pico": "rp2", "esp32_devkitc": "esp32", "pyboard": "stm32"}
CLASSES = {"rpi_pico": "PicoBoard", "esp32_devkitc": "Esp32Board", "pyboard": "PyboardBoard"}
TICKS_MAX_US = (1 << 30) - 1
VALID_US = 50_000


class Bench:
    """A fresh board, the hardware round it, and the records."""

    def __init__(self, name, board, hardware, pins, records, ticks_diff_us):
        self.name = name
        self.board = board
        self.hardware = hardware
        self.pins = pins
        self.inputs = records.Inputs()
        self.outputs = records.Outputs()
        self.ticks_diff_us = ticks_diff_us

    def read(self):
        return self.board.read(self.inputs)

    def read_all(self):
        """Read often enough for a multiplexer to come round."""
        for _ in range(6):
            self.read()

    def drive(self, command_mv):
        self.outputs.command_mv = command_mv
        self.outputs.drive_enabled = command_mv > 0
        self.board.write(self.outputs)

    def command_mv(self):
        """Return what comes out behind the amplifier of the wiring guide; -1 if the drive is not enabled."""
        if self.hardware.driven[self.pins.DRIVE_ENABLE] != 1:
            assert self.raw_command() == 0
            return -1
        return self.raw_command() * self.pins.COMMAND_FULL_MV // self.full_scale()

    def raw_command(self):
        if self.name == "pyboard":
            return self.hardware.driven["DAC" + str(self.pins.COMMAND_DAC_PORT)]
        return self.hardware.driven[
            self.pins.COMMAND_PWM if self.name == "rpi_pico" else self.pins.COMMAND_DAC
        ]

    def full_scale(self):
        return {"rpi_pico": 65_535, "esp32_devkitc": 255, "pyboard": 4_095}[self.name]

    def set_converter(self, what, permille):
        """Put a converter at a share of its full scale: microvolts on the ESP32, else 16 bits."""
        full = 3_300_000 if self.name == "esp32_devkitc" else 65_535
        channels = {"SELECTOR": 0, "BATTERY": 1, "HEAT": 2}
        if self.name == "rpi_pico" and what in channels:
            place = self.pins.MULTIPLEXED_ADC * 10 + channels[what]
        else:
            place = getattr(self.pins, what + "_ADC")
        self.hardware.volts[place] = full * permille // 1_000


def constructing_a_board_puts_the_output_to_zero(bench):
    assert bench.command_mv() == -1


def read_stamps_lie_in_range_and_never_go_back_across_the_wrap(bench):
    bench.hardware.now_us = TICKS_MAX_US - 5_000
    last_us = bench.read()
    for _ in range(100):
        bench.hardware.advance(137)
        now_us = bench.read()
        assert 0 <= now_us <= TICKS_MAX_US
        assert bench.inputs.sampled_us == now_us
        assert bench.ticks_diff_us(now_us, last_us) == 137
        last_us = now_us


def a_command_comes_out_and_zero_is_zero(bench):
    bench.drive(2_000)
    assert abs(bench.command_mv() - 2_000) <= bench.pins.COMMAND_FULL_MV // bench.full_scale() + 1
    bench.drive(5_000)
    assert bench.raw_command() == bench.full_scale()
    bench.drive(0)
    assert bench.command_mv() == -1


def a_command_without_drive_enabled_is_zero(bench):
    bench.outputs.command_mv = 2_000
    bench.outputs.drive_enabled = False
    bench.board.write(bench.outputs)
    assert bench.command_mv() == -1


def a_command_that_is_not_renewed_expires_after_50_to_60_ms(bench):
    bench.drive(2_000)
    bench.hardware.advance(VALID_US)
    assert bench.command_mv() > 0
    bench.hardware.advance(10_000)
    assert bench.command_mv() == -1


def a_command_that_is_renewed_stays(bench):
    for _ in range(100):
        bench.drive(2_000)
        bench.hardware.advance(5_000)
        assert bench.command_mv() > 0


def after_an_expiry_a_board_that_comes_back_drives_again_and_expires_again(bench):
    bench.drive(2_000)
    bench.hardware.advance(1_000_000)
    assert bench.command_mv() == -1
    bench.drive(2_000)
    assert bench.command_mv() > 0
    bench.hardware.advance(60_000)
    assert bench.command_mv() == -1


def the_watchdog_starts_once_with_a_second_and_is_fed_once_a_call(bench):
    bench.board.feed_watchdog()
    assert bench.hardware.watchdogs == []
    bench.board.start_watchdog()
    bench.board.start_watchdog()
    (watchdog,) = bench.hardware.watchdogs
    assert watchdog.timeout == 1_000
    bench.board.feed_watchdog()
    assert watchdog.feeds == 1
    bench.read()
    bench.drive(1_000)
    bench.hardware.advance(100_000)
    assert watchdog.feeds == 1


def crank_interrupts_record_both_levels_and_the_time(bench):
    pins, hardware = bench.pins, bench.hardware
    hardware.connected[pins.CRANK_A] = 0
    hardware.connected[pins.CRANK_B] = 0
    bench.board.attach(bench.inputs)
    hardware.now_us = TICKS_MAX_US - 50
    seen = []
    for pin, level in ((pins.CRANK_A, 1), (pins.CRANK_B, 1), (pins.CRANK_A, 0), (pins.CRANK_B, 0)):
        hardware.now_us += 100
        hardware.set_level(pin, level)
    while bench.inputs.crank.take():
        seen.append((bench.inputs.crank.levels, bench.inputs.crank.time_us))
    assert seen == [(1, 49), (3, 149), (2, 249), (0, 349)], seen
    assert not bench.inputs.wheel.take()


def wheel_interrupts_record_rise_and_fall(bench):
    pins, hardware = bench.pins, bench.hardware
    hardware.connected[pins.WHEEL] = 0
    bench.board.attach(bench.inputs)
    seen = []
    for level in (1, 0):
        hardware.now_us += 100
        hardware.set_level(pins.WHEEL, level)
    while bench.inputs.wheel.take():
        seen.append((bench.inputs.wheel.levels, bench.inputs.wheel.time_us))
    assert seen == [(1, 100), (0, 200)], seen


def a_handler_survives_a_log_that_is_full(bench):
    bench.board.attach(bench.inputs)
    for number in range(200):
        bench.hardware.set_level(bench.pins.CRANK_A, number & 1)
    assert bench.inputs.crank.overruns > 0


def after_a_new_start_edges_go_to_the_new_logs(bench):
    bench.hardware.connected[bench.pins.CRANK_A] = 0
    bench.board.attach(bench.inputs)
    old = bench.inputs.crank
    fresh = type(bench.inputs)()
    bench.board.attach(fresh)
    bench.hardware.set_level(bench.pins.CRANK_A, 1)
    assert fresh.crank.take()
    assert not old.take()


def a_closed_brake_switch_is_a_lever_let_go_and_a_broken_wire_is_a_pulled_one(bench):
    bench.hardware.connected[bench.pins.BRAKE] = 0
    bench.read()
    assert not bench.inputs.brake_pulled
    del bench.hardware.connected[bench.pins.BRAKE]  # Nothing is connected: the pull-up decides.
    bench.read()
    assert bench.inputs.brake_pulled


def converters_give_zero_at_their_lower_end(bench):
    bench.read_all()
    inputs = bench.inputs
    assert inputs.throttle_mv == 0
    assert inputs.selector_mv == 0
    assert inputs.battery_mv == 0
    assert inputs.current_ma == 0
    assert inputs.motor_decicelsius == 3_000  # A shorted sensor.


def converters_give_full_scale_at_their_upper_end(bench):
    for what in ("THROTTLE", "SELECTOR", "BATTERY", "CURRENT", "HEAT"):
        bench.set_converter(what, 1_000)
    bench.read_all()
    inputs = bench.inputs
    assert inputs.throttle_mv == 5_500
    assert inputs.selector_mv == 5_500
    assert inputs.battery_mv == 62_700
    assert inputs.current_ma == 33_000
    assert inputs.motor_decicelsius == -500  # An open sensor.


def converters_are_not_mixed_up(bench):
    bench.set_converter("THROTTLE", 200)
    bench.set_converter("SELECTOR", 400)
    bench.set_converter("BATTERY", 600)
    bench.set_converter("CURRENT", 100)
    bench.set_converter("HEAT", 527)
    bench.read_all()
    inputs = bench.inputs
    assert abs(inputs.throttle_mv - 1_100) <= 3
    assert abs(inputs.selector_mv - 2_200) <= 3
    assert abs(inputs.battery_mv - 37_620) <= 30
    assert abs(inputs.current_ma - 3_300) <= 20
    assert abs(inputs.motor_decicelsius - 200) <= 3  # 20 degrees leave 2158 of 4095 in the guide's circuit.


def the_button_clears_once_a_push_and_a_stuck_one_never(bench):
    pin = bench.pins.CLEAR_BUTTON
    bench.hardware.connected[pin] = 0  # Stuck from the start.
    bench.read()
    assert not bench.inputs.clear_requested
    bench.hardware.connected[pin] = 1
    bench.read()
    assert not bench.inputs.clear_requested
    bench.hardware.connected[pin] = 0
    bench.read()
    assert bench.inputs.clear_requested
    bench.inputs.clear_requested = False  # The loop lowers it after a step.
    bench.read()
    assert not bench.inputs.clear_requested


def the_maintenance_pin_is_heard_when_it_is_grounded(bench):
    assert not bench.board.maintenance_wanted()
    bench.hardware.connected[bench.pins.MAINTENANCE] = 0
    assert bench.board.maintenance_wanted()


def the_safe_start_pin_is_heard_when_it_is_grounded_and_means_nothing_else(bench):
    units = ("_MV", "_MA", "_HZ", "_PORT", "_TIMER")
    names = [name for name in dir(bench.pins) if name.isupper() and not name.endswith(units)]
    shared = [name for name in names if getattr(bench.pins, name) == bench.pins.SAFE_START]
    assert shared == ["SAFE_START"]
    assert not bench.board.safe_start_wanted()
    bench.hardware.connected[bench.pins.SAFE_START] = 0
    assert bench.board.safe_start_wanted()
    assert not bench.board.maintenance_wanted()


def the_lamp_tells_waiting_ready_driving_and_fault_apart(bench):
    changes = []
    for indicator in (0, 1, 2, 3):
        bench.outputs.indicator = indicator
        last = None
        count = 0
        for _ in range(400):  # 2 s.
            bench.board.write(bench.outputs)
            lit = bench.hardware.driven[bench.pins.LAMP]
            count += lit != last
            last = lit
        changes.append(count)
    assert changes[1] == 1 or changes[1] == 2
    assert changes[2] == 1 or changes[2] == 2
    assert 3 <= changes[0] <= 5
    assert 24 <= changes[3] <= 27


def reading_and_writing_take_no_memory(bench):
    bench.board.attach(bench.inputs)
    bench.board.start_watchdog()
    bench.outputs.command_mv = 2_000
    bench.outputs.drive_enabled = True

    def step(_):
        bench.read()
        bench.board.write(bench.outputs)
        bench.board.feed_watchdog()

    step(None)
    locked(step)


def locked(function):
    from tests.fake_machine import in_critical_section

    in_critical_section(function, None)


CHECKS = (
    constructing_a_board_puts_the_output_to_zero,
    read_stamps_lie_in_range_and_never_go_back_across_the_wrap,
    a_command_comes_out_and_zero_is_zero,
    a_command_without_drive_enabled_is_zero,
    a_command_that_is_not_renewed_expires_after_50_to_60_ms,
    a_command_that_is_renewed_stays,
    after_an_expiry_a_board_that_comes_back_drives_again_and_expires_again,
    the_watchdog_starts_once_with_a_second_and_is_fed_once_a_call,
    crank_interrupts_record_both_levels_and_the_time,
    wheel_interrupts_record_rise_and_fall,
    a_handler_survives_a_log_that_is_full,
    after_a_new_start_edges_go_to_the_new_logs,
    a_closed_brake_switch_is_a_lever_let_go_and_a_broken_wire_is_a_pulled_one,
    converters_give_zero_at_their_lower_end,
    converters_give_full_scale_at_their_upper_end,
    converters_are_not_mixed_up,
    the_button_clears_once_a_push_and_a_stuck_one_never,
    the_maintenance_pin_is_heard_when_it_is_grounded,
    the_safe_start_pin_is_heard_when_it_is_grounded_and_means_nothing_else,
    the_lamp_tells_waiting_ready_driving_and_fault_apart,
    reading_and_writing_take_no_memory,
)


def bench_of(name, number=int):
    """Return a fresh board of this name on a fresh fake machine."""
    from tests import fake_machine

    hardware = fake_machine.install(PORTS[name])
    hardware.number = number
    for module in list(sys.modules):
        if module.startswith("boards."):
            del sys.modules[module]
    from firmware import records
    from firmware.ticks import ticks_diff_us

    board_module = __import__("boards." + name + ".board", None, None, ["board"])
    pins = board_module.pins
    if name == "rpi_pico":
        hardware.multiplexer = (pins.MULTIPLEXED_ADC, pins.MULTIPLEXER_LOW, pins.MULTIPLEXER_HIGH)
    board = getattr(board_module, CLASSES[name])()
    return Bench(name, board, hardware, pins, records, ticks_diff_us)


def main(name):
    from tests import fake_machine

    # Before a board is imported: MicroPython's own time is replaced by the fake's.
    clock = fake_machine.Module()
    clock.ticks_us = fake_machine.ticks_us
    sys.modules["time"] = clock
    for check in CHECKS:
        check(bench_of(name))
        print("holds:", check.__name__)


if __name__ == "__main__":
    sys.path.insert(0, "")
    main(sys.argv[1])
