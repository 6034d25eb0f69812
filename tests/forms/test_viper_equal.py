"""The board form computes what the sources compute: outputs and every number of the state, step by step."""

import re
import sys
from array import array
from random import Random

import pytest

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import ASCENDING, FIRST_PITCH_EDGES, TABLE, Settings
from firmware.ticks import TICKS_MAX_US
from host_sim.forms.viper.firmware import fused_firmware
from tests.forms.fused_forms import loaded, on_micropython, written
from tests.forms.lives import Draw, SideBySide, draw_settings, told
from tests.micropython_unix import ROOT

LIVES = 176  # Of 570 steps: more than 100,000.
SEED = 1


@pytest.fixture(scope="module")
def fused():
    return fused_firmware()


@pytest.fixture(scope="module")
def module(fused):
    return loaded(fused)


def differences_at_start(fused, module, settings, now_us):
    interpreted = Controller(settings, now_us)
    cells = module.Controller(settings, now_us)._cells
    found = []
    for path, place in fused.cells.items():
        value = eval(f"controller.{path}", {"controller": interpreted})
        if value != cells[place]:
            found.append((path, value, cells[place]))
    return found


@pytest.mark.long
def test_a_hundred_thousand_random_steps_of_which_half_drive_are_equal_on_cpython(fused, module):
    ride = SideBySide(module.Controller, tuple(fused.cells.items()), LIVES, SEED)
    assert ride.differences == 0
    assert ride.steps >= 100_000
    assert ride.driving >= ride.steps // 2
    assert ride.constructed == LIVES


@pytest.mark.long
def test_viper_on_micropython_is_equal_and_gives_the_digest_of_cpython(fused, module, tmp_path):
    written(tmp_path)
    printed = on_micropython(
        tmp_path,
        "import fused_controller, fused_places, lives\n"
        "print(lives.told(lives.SideBySide(fused_controller.Controller, fused_places.PLACES, 25, 7)))\n",
    )
    here = SideBySide(module.Controller, tuple(fused.cells.items()), 25, 7)
    assert here.differences == 0
    assert printed == told(here)


@pytest.mark.long
def test_constructors_are_equal_under_random_legal_settings(fused, module):
    draw = Draw(3)
    for _ in range(1_000):
        assert differences_at_start(fused, module, draw_settings(draw), draw.below(TICKS_MAX_US)) == []


@pytest.mark.parametrize("row", TABLE, ids=[row[0] for row in TABLE])
@pytest.mark.parametrize("end", [2, 3], ids=["lowest", "highest"])
def test_constructors_are_equal_at_both_ends_of_each_setting(fused, module, row, end):
    values = {row[0]: row[end]}
    for lower, higher in ASCENDING * 4:
        default = {name: value for name, value, *_ in TABLE}
        lowest, highest = values.get(lower, default[lower]), values.get(higher, default[higher])
        if lowest >= highest and higher not in values:
            values[higher] = lowest + 1
        elif lowest >= highest and lower not in values:
            values[lower] = highest - 1
    values.setdefault("engage_edges", FIRST_PITCH_EDGES[values.get("sensor_kind", 0)])
    values["engage_edges"] = max(values["engage_edges"], FIRST_PITCH_EDGES[values.get("sensor_kind", 0)])
    try:
        settings = Settings(values)
    except ValueError:
        # Only a neighbour in ASCENDING can stand against the end of a range; then the nearest legal value.
        assert any(row[0] in pair for pair in ASCENDING)
        return
    assert differences_at_start(fused, module, settings, TICKS_MAX_US) == []


def test_the_graph_of_objects_does_not_depend_on_the_settings(fused):
    draw = Random(4)
    for _ in range(20):
        settings = draw_settings(Draw(draw.randrange(1 << 30)))
        controller = Controller(settings, 5)
        for path in fused.cells:
            assert isinstance(eval(f"controller.{path}", {"controller": controller}), int)


def test_what_loop_link_and_console_read_has_the_names_and_the_kinds_of_the_sources(module):
    interpreted, other = Controller(Settings({}), 9), module.Controller(Settings({}), 9)
    read = set()
    for path in [*(ROOT / "firmware" / "link").glob("*.py"), ROOT / "firmware" / "loop.py"]:
        text = path.read_text()
        read |= set(re.findall(r"controller\.(\w+\.\w+(?:\(\))?)", text))
        read |= {
            f"crank.{name}" for name in re.findall(r"\bcrank\.(\w+)", text) if path.name == "telemetry.py"
        }
    assert {"wheel.speed_mm_per_s", "engagement.driving()", "faults.cause", "crank.pitch_us"} <= read
    for name in sorted(read - {"settings.as_dict()"}):
        here = eval(f"controller.{name}", {"controller": interpreted})
        there = eval(f"controller.{name}", {"controller": other})
        assert (type(here), here) == (type(there), there), name
    assert other.settings.as_dict() == interpreted.settings.as_dict()


def test_a_private_or_unknown_field_is_no_field_of_a_view(module):
    controller = module.Controller(Settings({}), 9)
    for name in ("_last_us", "speed"):
        with pytest.raises(AttributeError):
            getattr(controller.wheel, name)


def test_the_same_sources_give_the_same_module(fused):
    assert fused_firmware().source == fused.source


def test_nothing_in_the_translator_names_a_setting_or_a_component():
    names = {row[0] for row in TABLE} | set(Controller.__slots__) - {"request", "_last_us"}
    for path in (ROOT / "host_sim" / "forms" / "viper").glob("*.py"):
        words = set(re.findall(r"[a-z_]\w+", path.read_text()))
        assert words & names <= {"settings", "outputs", "step", "events"}, path.name


def test_every_number_of_a_step_fits_the_small_integers_of_a_board(fused, module):
    cells = module.Controller(Settings({}), 9)._cells
    assert isinstance(cells, array)
    assert cells.itemsize == 4
    constants = {int(word) for word in re.findall(r"(?<![\w.])\d+", fused.source)}
    assert max(constants) < 1 << 30


def test_a_step_takes_no_memory_on_micropython(tmp_path):
    written(tmp_path)
    printed = on_micropython(
        tmp_path,
        "from micropython import heap_lock, heap_unlock\n"
        "from fused_controller import Controller\n"
        "from firmware.records import Inputs\n"
        "from firmware.settings import Settings\n"
        "def go():\n"
        "    controller, inputs = Controller(Settings({}), 0), Inputs()\n"
        "    inputs.crank.record(1, 5000)\n"
        "    inputs.wheel.record(1, 5000)\n"
        "    heap_lock()\n"
        "    controller.step(inputs, 10000)\n"
        "    driving = controller.engagement.driving() or controller.wheel.speed_mm_per_s\n"
        "    heap_unlock()\n"
        "    print(driving)\n"
        "go()\n",
    )
    assert printed == "0"


def test_inputs_are_taken_as_they_are_at_the_start_of_the_step(module):
    controller, inputs = module.Controller(Settings({}), 0), Inputs()
    inputs.throttle_mv = 5_000
    for number in range(1, 8):
        controller.step(inputs, number * 5_000)
    assert controller.throttle.wire_shorted is True
    assert controller.outputs.fault_cause == 5
    assert "micropython" in sys.modules
