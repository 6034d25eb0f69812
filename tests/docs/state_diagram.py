"""The engagement table as a Mermaid diagram, for DEVELOPERS.md.

`uv run python -m tests.docs.state_diagram` rewrites the diagram there; a test compares the two.
"""

from pathlib import Path

from firmware.decide.engagement import EVENT_NAMES, STATE_NAMES, TRANSITIONS

BEGIN = "<!-- engagement diagram: made from the table, do not edit -->\n"
END = "<!-- end of the engagement diagram -->\n"
DEVELOPERS = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"


def state_diagram() -> str:
    """Return the diagram: one arrow for each pair of states, labelled with the events that take it."""
    lines = ["```mermaid", "stateDiagram-v2", f"    [*] --> {STATE_NAMES[0]} : power-up"]
    for state, name in enumerate(STATE_NAMES):
        for following, following_name in enumerate(STATE_NAMES):
            events = [
                EVENT_NAMES[event] for event, to in enumerate(TRANSITIONS[state]) if to == following != state
            ]
            if events:
                label = "anything else" if len(events) > len(EVENT_NAMES) // 2 else ", ".join(events)
                lines.append(f"    {name} --> {following_name} : {label}")
    return "\n".join([*lines, "```", ""])


def with_diagram(text: str) -> str:
    """Return the text of DEVELOPERS.md with the present diagram between its two marks."""
    before, rest = text.split(BEGIN)
    after = rest.split(END)[1]
    return before + BEGIN + state_diagram() + END + after


if __name__ == "__main__":
    DEVELOPERS.write_text(with_diagram(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
