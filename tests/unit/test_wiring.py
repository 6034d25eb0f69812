"""The wiring sheet: values of the parts by hand, pins as pins.py has them, only what this bike has."""

from html.parser import HTMLParser

import pytest

from boards.rpi_pico import pins as pico_pins
from host_sim.bikes import load_bike
from host_sim.boardlink.targets import target_named
from host_sim.wiring.board_pins import pins_of
from host_sim.wiring.circuits import circuits_for, pin_rows
from host_sim.wiring.drawing import draw_wiring
from host_sim.wiring.parts import divider_top_ohm, fuse_a, parts_for, pin_v, problems, shunt_ohm, wire_mm2
from host_sim.wiring.sheet import wiring_name, wiring_sheet

BOARDS = ["rpi_pico", "esp32_devkitc", "pyboard"]
BIKES = ["cargo_trike", "tandem", "step_through", "folding"]


@pytest.mark.parametrize(
    ("full_v", "bottom_ohm", "top_ohm"),
    [(62.7, 10_000, 180_000), (5.5, 15_000, 10_000)],  # As wired by hand in boards/README.md.
)
def test_the_upper_resistor_makes_the_full_scale_that_the_board_counts_with(full_v, bottom_ohm, top_ohm):
    assert divider_top_ohm(full_v, bottom_ohm) == pytest.approx(top_ohm)


def test_a_full_battery_of_13_cells_is_2_87_volts_at_the_pin():
    assert pin_v(54.6, 62.7) == pytest.approx(2.874, abs=5e-4)


def test_the_shunt_for_33_amperes_is_2_milliohms():
    assert shunt_ohm(33.0) == pytest.approx(0.002)


@pytest.mark.parametrize(("limit_a", "fuse"), [(4, 5), (12, 15), (12.1, 20), (16, 20), (20, 25), (101, None)])
def test_the_fuse_is_the_next_usual_one_a_quarter_above_the_limit(limit_a, fuse):
    assert fuse_a(limit_a) == fuse


@pytest.mark.parametrize(("amperes", "wire"), [(6, 0.75), (20, 2.5), (20.1, 4.0), (1000, None)])
def test_a_wire_carries_eight_amperes_a_square_millimetre(amperes, wire):
    assert wire_mm2(amperes) == wire


def test_the_tandem_on_a_pico_gets_these_parts():
    parts = {part.what: part for part in parts_for(load_bike("tandem"), pins_of("rpi_pico"))}
    assert parts["Fuse at the pack, in its positive wire"].value == "25 A"  # 1.25 times 20 A.
    assert "55 V" in parts["Fuse at the pack, in its positive wire"].rating
    top = parts["Battery divider, upper resistor, close to the pack"]
    assert top.value == "180 kΩ, 1 %"
    assert "51.7 V on it, 15 mW" in top.worked_out  # boards/README.md has 51.7 V and 14.9 mW.
    shunt = parts["Shunt in the positive battery wire"]
    assert (shunt.value, shunt.rating) == ("2 mΩ, 1 %, four-terminal", "3 W or more")
    assert "at 20 A: 0.80 W, 40 mV; at full scale 2.18 W" in shunt.worked_out
    assert parts["Pull-up to 3.3 V: pedal sensor, wheel sensor, brake switches"].count == 4
    assert parts["Series resistor: throttle and selector"].count == 2


@pytest.mark.parametrize(
    ("bike", "wires", "throttle", "selector", "shunt"),
    [
        ("cargo_trike", ["GP2", "GP3"], True, True, True),
        ("step_through", ["GP3"], False, True, False),  # Its wire is on channel B.
        ("folding", ["GP2"], False, False, False),
    ],
)
def test_only_what_this_bike_has_is_wired(bike, wires, throttle, selector, shunt):
    loaded, pins = load_bike(bike), pins_of("rpi_pico")
    circuits = circuits_for(loaded, pins)
    assert [one.pin for one in circuits if one.part.startswith("Pedal sensor")] == wires
    for name, there in (("Throttle", throttle), ("Selector", selector), ("Shunt", shunt)):
        assert any(one.part.startswith(name) for one in circuits) is there
        assert any(name.lower() in part.what.lower() for part in parts_for(loaded, pins)) is there


def test_pins_are_those_of_pins_py():
    rows = {part: pin for pin, part, _ in pin_rows(load_bike("cargo_trike"), pins_of("rpi_pico"))}
    assert rows["Wheel sensor"] == f"GP{pico_pins.WHEEL}"
    assert rows["Throttle signal (5 V supply)"] == f"GP{pico_pins.THROTTLE_ADC}"
    assert rows["Motor controller: throttle input"] == f"GP{pico_pins.COMMAND_PWM}"
    assert rows["Common pin of the multiplexer"] == f"GP{pico_pins.MULTIPLEXED_ADC}"


@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("bike", BIKES)
def test_no_pin_is_used_twice(bike, board):
    pins = [pin for pin, _, _ in pin_rows(load_bike(bike), pins_of(board))]
    assert len(pins) == len(set(pins))


def test_a_battery_that_the_board_can_not_read_is_told(tmp_path):
    trike = load_bike("cargo_trike")
    battery = trike.battery.model_copy(update={"full_v": 62.0})
    (told,) = problems(trike.model_copy(update={"battery": battery}), pins_of("rpi_pico"))
    assert told.startswith("The full battery (62 V) is too near the 62.7 V")
    assert problems(trike, pins_of("rpi_pico")) == []


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.found.append(tag)
        self.loads += [value or "" for name, value in attrs if name in ("src", "href")]


@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("bike", BIKES)
def test_the_page_has_a_drawing_and_loads_nothing(bike, board):
    text = wiring_sheet(load_bike(bike), target_named(board))
    tags = _Tags()
    tags.feed(text)
    assert "svg" in tags.found
    assert tags.loads == []
    for words in (
        "Cautions",
        "battery switch",
        "Signal wire off: the wheel runs",
        "Measure before the motor",
    ):
        assert words in text


def test_a_title_with_angle_brackets_is_escaped():
    bike = load_bike("folding")
    named = bike.model_copy(update={"title": "<b>mine"})
    assert "<b>mine" not in wiring_sheet(named, target_named("pyboard"))


def test_the_bundle_has_it_beside_the_boards_files_and_outside_the_manifest(treadle, here):
    code, out, _ = treadle("bundle", "--board", "pyboard", "folding", "--form", "source", "--out", "b")
    assert code == 0
    assert "wiring_pyboard.html" in out
    assert (here / "b" / "wiring_pyboard.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert "wiring" not in (here / "b" / "manifest.json").read_text(encoding="utf-8")
    assert wiring_name(target_named("desk")) is None


@pytest.mark.parametrize("board", BOARDS)
def test_the_drawing_holds_both_outputs_at_zero_while_nobody_drives_them(board):
    """Behind the amplifier, and at the drive-enable pin: two resistors of 10 kilohms to ground."""
    pins = pins_of(board)
    bike = load_bike("folding")
    outputs = [one for one in circuits_for(bike, pins) if one.part.startswith("Motor controller")]
    drawn = draw_wiring(outputs, board)
    # The Pico's filter has a series resistor of its own, and one at the pin.
    assert drawn.count(">10 kΩ<") == (4 if pins.pulsed_command else 2)
