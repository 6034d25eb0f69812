"""What the front end reads from the sources is what the running firmware has."""

import sys

import pytest

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import TABLE, Settings
from host_sim.forms.model import Program
from host_sim.forms.program import read_firmware

OBJECTS = {"Controller", "Inputs", "Settings"}


@pytest.fixture(scope="module")
def program() -> Program:
    return read_firmware()


def objects_of(built: object, found: dict[str, object]) -> dict[str, object]:
    """Collect one object of each class that can be reached from `built`."""
    if type(built).__module__.startswith("firmware") and type(built).__name__ not in found:
        found[type(built).__name__] = built
        for name in type(built).__slots__:
            objects_of(getattr(built, name), found)
    return found


def test_every_class_of_a_built_controller_is_there_with_its_fields_and_their_types(program):
    controller = Controller(Settings({}), 0)
    found = objects_of(Inputs(), objects_of(controller, {}))
    assert set(found) == set(program.classes)
    for name, built in found.items():
        fields = program.classes[name].fields
        assert set(fields) == set(type(built).__slots__)
        for field in fields.values():
            value = getattr(built, field.name)
            known = {"int": int, "bool": bool, "numbers": list}.get(field.type.kind)
            if known is not None:
                assert type(value) is known, (name, field.name)
            else:
                assert type(value).__name__ == field.type.name
            if field.type.kind == "numbers":
                assert field.type.dims == (len(value),)


def test_constants_have_the_values_that_they_have_when_imported(program):
    count = 0
    for module in program.modules.values():
        for constant in module.constants.values():
            assert getattr(sys.modules[module.name], constant.name) == constant.value
            count += 1
    assert count > 100


def test_only_what_a_step_needs_is_read(program):
    assert "firmware.loop" not in program.modules
    assert not [name for name in program.modules if name.startswith("firmware.link")]
    assert list(program.modules)[-1] == "firmware.controller"


def test_the_records_of_the_border_come_before_what_owns_them(program):
    assert [kind.name for kind in program.border()] == ["Settings", "EdgeLog", "Inputs", "Outputs"]


def test_settings_are_fields_in_the_order_of_the_table(program):
    assert list(program.classes["Settings"].fields) == [row[0] for row in TABLE]


def test_an_owned_object_is_told_from_a_lent_one(program):
    assert program.classes["Wheel"].fields["_rotation"].owned
    assert not program.classes["Faults"].fields["_wheel"].owned


def test_effects_reach_through_calls(program):
    effects = program.effects["Crank.edge"]
    assert ("Crank", "rejected") in effects.writes
    assert ("Crank", "_glitch_us") in effects.reads
    assert ("Crank", "_glitch_us") not in effects.writes
    assert program.effects["clamp"].writes == frozenset()


def test_what_is_reached_from_a_step_leaves_out_what_only_boards_call(program):
    labels = {one.label for one in program.reached(["Controller.step"])}
    assert {"EdgeLog.take", "OutputGuard.permit", "square_root"} - labels == {"square_root"}
    assert "EdgeLog.record" not in labels
