"""The hazard table names only what exists, says a size for all it lets pass, and its page is made from it."""

from itertools import product

from host_sim.bikes.load import example_names, load_bike
from host_sim.proof.properties import PROPERTIES
from host_sim.rules.catalogue import RULES
from host_sim.rules.fault_rides import SITUATIONS
from host_sim.rules.fault_rows import ROWS, rows_for
from host_sim.rules.hazards import PAGE, hazard_page, load_hazards, unseen_of

TABLE = load_hazards()
KM_PER_H = 8.0


def test_the_page_is_the_one_that_the_table_makes():
    assert PAGE.read_text(encoding="utf-8") == hazard_page(TABLE)


def test_the_page_begins_with_the_cautions():
    head = PAGE.read_text(encoding="utf-8").split("##")[0]
    assert "Simulation is not approval." in head
    assert "Local codes" in head
    assert "licensed practice" in head


def test_everything_that_is_said_to_show_something_exists():
    known = {f"rule: {rule.name}" for rule in RULES}
    known |= {f"property: {one.name}" for one in PROPERTIES}
    known |= {f"matrix: {row.name}" for row in ROWS}
    assert {one for hazard in TABLE.hazard for one in hazard.shown_by} - known == set()
    assert len({hazard.name for hazard in TABLE.hazard}) == len(TABLE.hazard)


def test_every_exception_has_a_row_a_size_and_a_bike():
    rows = {row.name for row in ROWS}
    bikes = [load_bike(name) for name in example_names()]
    for hazard in TABLE.hazard:
        for unseen in hazard.unseen:
            assert unseen.row in rows
            assert f"matrix: {unseen.row}" in hazard.shown_by
            assert unseen.size() != ""
            fitted = [bike for bike in bikes if unseen.row in {row.name for row in rows_for(bike)}]
            assert any(unseen.applies(bike) for bike in fitted)


def test_no_row_of_a_bike_has_two_exceptions():
    for name in example_names():
        bike = load_bike(name)
        for row, situation in product(ROWS, SITUATIONS):
            found = [
                unseen
                for hazard in TABLE.hazard
                for unseen in hazard.unseen
                if unseen.row == row.name and unseen.applies(bike) and unseen.covers(KM_PER_H, situation)
            ]
            assert len(found) <= 1
            known = unseen_of(TABLE, row.name, bike, KM_PER_H, situation)
            assert (known is not None) == (len(found) == 1)
