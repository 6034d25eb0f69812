"""A field keeps its kind for as long as the controller lives: a number stays one, and so does a truth.

Nothing checks it on a microcontroller: None or a float where a number belongs raises in a step, on the road.
"""

import pytest

from firmware.link.store import Store
from firmware.settings import Settings
from host_sim.rig.rig import Rig
from host_sim.rig.small_settings import settings_with
from tests.unit.test_console import Paper, Session

KINDS = (int, bool, list, bytes, str)


def kinds(record: object, seen: set[int], place: str = "") -> dict[str, type]:
    """Return the kind of every field of a record, and of the records in it."""
    found: dict[str, type] = {}
    names = [name for kind in type(record).__mro__ for name in getattr(kind, "__slots__", ())]
    for name in names:
        value = getattr(record, name)
        if type(value).__module__.startswith("firmware."):
            if id(value) not in seen:
                seen.add(id(value))
                found |= kinds(value, seen, f"{place}{name}.")
            continue
        kind = type(value)
        if kind.__module__.startswith("tests.") and not isinstance(value, int):
            continue  # A port, a storage or a board of paper.
        whole = int if isinstance(value, int) else bytes if kind is bytearray else kind
        found[place + name] = bool if kind is bool else whole
        if kind is list:
            lines = all(isinstance(one, bytes | bytearray) for one in value)  # Or blocks of the recorder.
            numbers = all(isinstance(one, int) and not isinstance(one, bool) for one in value)
            assert lines or numbers, place + name
            assert len(value) == LENGTHS.get(name, len(value)), place + name
    return found


LENGTHS = {"_lowest": 6, "_highest": 6, "_kind_us": 4, "_samples_in_row": 18, "_samples_needed": 18}

SENSORS = [
    {},
    {"lead": 1, "throttle_fitted": 0, "heat_sensor_fitted": 1},
    {"sensor_kind": 1, "shunt_fitted": 0},
    {"motor_kind": 1},
    {"motor_kind": 2},
    {"sensor_kind": 2, "startup_speed_mm_per_s": 1, "throttle_unpedalled": 1},
]
IDS = ["two channels", "b leads", "one channel", "torque kind", "speed kind", "duty-coded"]


@pytest.mark.parametrize("changed", SENSORS, ids=IDS)
def test_every_field_keeps_its_kind_through_a_ride(changed):
    rig = Rig(settings_with(**changed))
    first = kinds(rig.controller, set())
    odd = {name: kind for name, kind in first.items() if kind not in KINDS}
    assert not odd
    assert len(first) > 100

    def same(rig: Rig, _: int) -> None:
        assert kinds(rig.controller, set()) == first

    rig.after_step.append(same)
    rig.run(1_500)  # At rest: a standstill is latched.
    rig.run(1_500, rpm=60, wheel_mm_per_s=3_000)
    other = rig.ring.levels ^ 1
    for levels, after_us in ((other, 100), (rig.ring.levels, 200), (other, 1_000), (other, 4_500)):
        rig.crank_edge(levels, after_us)  # A glitch, and an edge that is reported twice.
    rig.run(100, rpm=0)
    rig.run(300, brake_pulled=True)
    rig.run(500, brake_pulled=False)
    rig.run(4_000, rpm=0, wheel_mm_per_s=0)  # The wheel is forgotten.
    rig.run(300, rpm=-60)
    rig.full_throttle()
    rig.run(300, rpm=0)
    rig.run(500, battery_mv=0)  # A fault,
    rig.run(100, battery_mv=36_000, clear_requested=True)  # and none any more.


@pytest.mark.long
def test_every_field_of_the_link_keeps_its_kind_whatever_is_asked():
    session = Session()

    def now() -> dict[str, type]:
        return kinds(session.talk, set()) | kinds(session.counters, set())

    first = now()
    assert {name: kind for name, kind in first.items() if kind not in KINDS} == {}
    for line in (
        b'{"request": "settings"}',
        b"nonsense",
        b"\x07",
        b'{"request": "edges"}',
        b'{"request": "set"}',
    ):
        for resting in (False, True):
            session.cable.to_board += line + b"\n"
            for _ in range(400):
                session.turn(1, resting)
                session.counters.count_step(session.now_us)
                assert now() == first
                session.counters.read(session.now_us)
                assert now() == first
    session.cable.closed = True
    session.turn(200)
    assert now() == first


def test_every_field_of_a_store_keeps_its_kind():
    store = Store(Paper())
    first = kinds(store, set())
    assert set(first.values()) == {int, str, list, bool}
    store.load()
    assert kinds(store, set()) == first
    store.save(Settings({}))
    assert kinds(store, set()) == first
