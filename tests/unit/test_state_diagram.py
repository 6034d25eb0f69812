"""The diagram in DEVELOPERS.md is the engagement table."""

from tests.docs.state_diagram import DEVELOPERS, state_diagram, with_diagram


def test_the_diagram_in_the_developers_manual_is_made_from_the_table():
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert with_diagram(text) == text


def test_the_diagram_shows_what_starts_and_what_ends_assistance():
    lines = state_diagram().splitlines()
    assert "    ready --> assisting : pedalling" in lines
    assert "    assisting --> ready : backward, rest, stopped, slow" in lines
    assert "    faulted --> waiting : anything else" in lines
