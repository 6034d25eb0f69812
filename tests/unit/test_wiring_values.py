"""Every value on the wiring sheet of random bikes, against circuit laws written here by hand.

Ohm's law, the voltage divider, P = U^2 / R, P = I^2 R and tau = R C; the values are read from the sheet.
"""

import re
from random import Random

import pytest

from host_sim.bikes import load_bike
from host_sim.bikes.model import Bike
from host_sim.wiring.board_pins import pins_of
from host_sim.wiring.parts import Part, parts_for, problems

BOARDS = ["rpi_pico", "esp32_devkitc", "pyboard"]
KINDS = ("two channels", "one channel", "duty-coded")
# A quarter above what flows for long, and eight amperes a square millimetre: common practice, no source.
FUSES_A = (5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125)
CAPACITY_F = 1e-7
SCALES = {"kΩ": 1e3, "Ω": 1.0, "mΩ": 1e-3}


def ohms_in(text: str) -> float:
    """Return the first resistance in a text, in ohms."""
    found = re.search(r"([\d.]+) (kΩ|mΩ|Ω)", text)
    assert found, text
    return float(found[1]) * SCALES[found[2]]


def number(pattern: str, text: str) -> float:
    found = re.search(pattern, text)
    assert found, (pattern, text)
    return float(found[1])


def random_bike(draw: Random) -> Bike:
    """Return an example bike with another battery, limit, sensor and levers."""
    bike = load_bike(draw.choice(["cargo_trike", "tandem", "step_through", "folding"]))
    full_v = round(draw.uniform(24.0, 60.8), 1)
    limit_a = round(draw.uniform(3.0, 110.0), 1)
    kind = draw.choice(KINDS)
    return bike.model_copy(
        update={
            "battery": bike.battery.model_copy(update={"full_v": full_v}),
            "motor_controller": bike.motor_controller.model_copy(update={"battery_current_limit_a": limit_a}),
            "pedal_sensor": bike.pedal_sensor.model_copy(
                update={"kind": kind, "pulses_per_rev": draw.randint(4, 64), "channel": "A"}
            ),
            "throttle": bike.throttle.model_copy(update={"fitted": draw.random() < 0.5}),
            "shunt": bike.shunt.model_copy(update={"fitted": draw.random() < 0.5}),
            "brakes": bike.brakes.model_copy(update={"switches": draw.choice(["all", "some", "none"])}),
        }
    )


CASES = [(board, seed) for board in BOARDS for seed in range(40)]


@pytest.fixture(params=CASES, ids=lambda case: f"{case[0]} {case[1]}")
def built(request) -> tuple[Bike, dict[str, Part], str]:
    board, seed = request.param
    bike = random_bike(Random(seed))
    return bike, {part.what: part for part in parts_for(bike, pins_of(board))}, board


def starting(parts: dict[str, Part], words: str) -> Part:
    (found,) = [part for what, part in parts.items() if what.startswith(words)]
    return found


def test_fuse_wires_and_switch(built):
    bike, parts, _ = built
    wanted_a = bike.motor_controller.battery_current_limit_a * 5 / 4
    usual = [fuse for fuse in FUSES_A if fuse >= wanted_a]
    fuse, wire = starting(parts, "Fuse"), starting(parts, "Battery wires")
    if not usual:
        assert (fuse.value, wire.value) == ("none that is usual", "ask a workshop")
        return
    assert number(r"([\d.]+) A", fuse.value) == usual[0]
    assert number(r"([\d.]+) V", fuse.rating) >= round(bike.battery.full_v)
    section_mm2 = number(r"([\d.]+) mm²", wire.value)
    assert section_mm2 * 8 >= usual[0]
    assert number(r"([\d.]+) A or more", starting(parts, "Switch").rating) == usual[0]


def test_battery_divider(built):
    bike, parts, _ = built
    top, bottom = (starting(parts, f"Battery divider, {which}") for which in ("upper", "lower"))
    upper_ohm, lower_ohm = ohms_in(top.value), ohms_in(bottom.value)
    current_a = bike.battery.full_v / (upper_ohm + lower_ohm)
    assert number(r"become ([\d.]+) V", bottom.worked_out) == pytest.approx(current_a * lower_ohm, abs=0.006)
    assert current_a * lower_ohm < 3.3
    across_v = current_a * upper_ohm
    assert number(r"; ([\d.]+) V on it", top.worked_out) == pytest.approx(across_v, abs=0.06)
    assert number(r"on it, (\d+) mW", top.worked_out) == pytest.approx(across_v * current_a * 1e3, abs=0.6)
    assert across_v * current_a < 0.25 / 2
    assert number(r"([\d.]+) V working", top.rating) >= 1.9 * across_v
    tau_s = upper_ohm * lower_ohm / (upper_ohm + lower_ohm) * CAPACITY_F
    filtered = starting(parts, "Filter of the battery")
    assert number(r"= ([\d.]+) ms", filtered.worked_out) == pytest.approx(tau_s * 1e3, abs=0.006)


def test_shunt_and_its_amplifier(built):
    bike, parts, board = built
    if not bike.shunt.fitted:
        assert not [what for what in parts if "hunt" in what]
        return
    shunt, amplifier = starting(parts, "Shunt"), starting(parts, "Current-sense")
    resistance_ohm, gain = ohms_in(shunt.value), number(r"gain (\d+)", amplifier.value)
    full_a = pins_of(board).current_full_a
    limit_a = bike.motor_controller.battery_current_limit_a
    assert full_a * resistance_ohm * gain == pytest.approx(3.3, rel=0.005)
    assert number(r"A: ([\d.]+) W", shunt.worked_out) == pytest.approx(
        limit_a * limit_a * resistance_ohm, abs=0.006
    )
    assert number(r"W, (\d+) mV", shunt.worked_out) == pytest.approx(limit_a * resistance_ohm * 1e3, abs=0.6)
    rated_w = number(r"([\d.]+) W", shunt.rating)
    if limit_a < full_a:
        assert rated_w >= 2 * limit_a**2 * resistance_ohm
        assert rated_w >= full_a**2 * resistance_ohm
    assert number(r"([\d.]+) V", amplifier.rating) >= bike.battery.full_v * 1.15


def test_levers_pull_ups_and_amplifier(built):
    bike, parts, _ = built
    levers = bike.throttle.fitted + (bike.selector.kind != "none")
    if levers:
        series, ground = (
            starting(parts, "Series resistor: "),
            starting(parts, "Resistor to ground at the pin"),
        )
        share = ohms_in(ground.value) / (ohms_in(series.value) + ohms_in(ground.value))
        assert (series.count, ground.count) == (levers, levers)
        assert number(r"become ([\d.]+) V", series.worked_out) == pytest.approx(5 * share, abs=0.006)
        assert 5.25 * share < 3.3  # A supply of 5 V is at most a twentieth high.
    pulled = starting(parts, "Pull-up to 3.3 V")
    channels = 2 if bike.pedal_sensor.kind == "two channels" else 1
    assert pulled.count == channels + 1 + (bike.brakes.switches != "none")
    assert number(r"= ([\d.]+) mA", pulled.worked_out) == pytest.approx(
        3.3 / ohms_in(pulled.value) * 1e3, abs=0.006
    )
    edges_a_pulse = 4 if channels == 2 else 2
    apart_us = 1e6 / (250 / 60 * bike.pedal_sensor.pulses_per_rev * edges_a_pulse)
    assert number(r"come (\d+) µs", pulled.worked_out) == pytest.approx(apart_us, abs=0.6)
    amplifier = starting(parts, "Amplifier of the command")
    feedback_ohm, ground_ohm = (float(kilo) for kilo in re.findall(r"([\d.]+) kΩ", amplifier.value))
    reaches_v = 3.3 * (1 + feedback_ohm / ground_ohm)
    assert number(r"reaches ([\d.]+) V", amplifier.worked_out) == pytest.approx(reaches_v, abs=0.006)
    assert number(r"input ([\d.]+) V", starting(parts, "Converter").rating) >= bike.battery.full_v * 1.15


# Highest readings: boards/README.md (62.7 V, 33 A), and for the ESP32 its guide (3.1 V at the pin, 58.9 V).
HIGHEST = {"rpi_pico": (62.7, 33.0), "pyboard": (62.7, 33.0), "esp32_devkitc": (58.9, 31.0)}


def test_what_the_board_can_not_read_is_a_problem_and_nothing_else_is(built):
    bike, _, board = built
    highest_v, highest_a = HIGHEST[board]
    told = problems(bike, pins_of(board))
    limit_a = bike.motor_controller.battery_current_limit_a
    assert any("current limit" in one for one in told) is (bike.shunt.fitted and limit_a > 0.95 * highest_a)
    assert any("full battery" in one for one in told) is (bike.battery.full_v > 0.97 * highest_v)


def test_a_pack_of_14_cells_is_too_near_what_an_esp32_can_read_and_the_sheet_says_so():
    bike = load_bike("tandem")
    pack = bike.model_copy(update={"battery": bike.battery.model_copy(update={"full_v": 58.8})})
    (told,) = problems(pack, pins_of("esp32_devkitc"))
    assert told.startswith("The full battery (58.8 V) is too near the 58.9 V that this board can read")
    assert problems(pack, pins_of("rpi_pico")) == []
