"""The drawing of a wiring sheet: a line for each wire, from the bicycle through its circuit to the pin."""

from host_sim.report.svg import BLUE, INK, PAPER, QUIET, RED, Drawing
from host_sim.wiring.circuits import BRIDGED, DIVIDED, OUTPUT, PULLED_UP, SMOOTHED, SWITCHED, WARMED, Circuit

WIDTH, ROW, TOP = 900.0, 62.0, 34.0
PART_LEFT, PART_WIDTH = 8.0, 270.0
PIN_LEFT, PIN_WIDTH = 780.0, 112.0
SERIES_AT, NODE_AT, FILTER_AT = 360.0, 520.0, 640.0


def draw_wiring(circuits: list[Circuit], board_title: str) -> str:
    """Return the drawing as SVG text."""
    drawing = Drawing(WIDTH, TOP + ROW * len(circuits) + 6.0, f"Wiring of the bicycle to the {board_title}")
    drawing.words(PART_LEFT, 16, "Bicycle", bold=True)
    drawing.words(WIDTH - 8, 16, board_title, bold=True, anchor="end")
    drawing.box(PIN_LEFT, TOP - 8, PIN_WIDTH, ROW * len(circuits) + 8, "#eef3f7", edge=INK)
    for number, circuit in enumerate(circuits):
        _row(drawing, circuit, TOP + ROW * number + ROW / 2.0 - 8.0)
    return drawing.text()


def _row(drawing: Drawing, circuit: Circuit, y: float) -> None:
    drawing.box(PART_LEFT, y - 15, PART_WIDTH, 30, PAPER, edge=INK)
    drawing.words(PART_LEFT + 8, y + (-1 if circuit.note else 4), circuit.part, size=11)
    if circuit.note:
        drawing.words(PART_LEFT + 8, y + 11, circuit.note, QUIET, size=9)
    drawing.words(PIN_LEFT + 10, y + 4, circuit.pin, BLUE, bold=True)
    left, right = PART_LEFT + PART_WIDTH, PIN_LEFT
    drawing.line([(left, y), (right, y)], BLUE if circuit.shape == OUTPUT else INK)
    if circuit.shape == PULLED_UP:
        _pull_up(drawing, NODE_AT - 90, y, circuit.shunt)
        if circuit.series:
            _resistor(drawing, NODE_AT + 20, y, circuit.series)
    elif circuit.shape == WARMED:
        _pull_up(drawing, NODE_AT - 90, y, circuit.shunt)
        _capacitor(drawing, FILTER_AT, y, "100 nF")
    elif circuit.shape == SWITCHED:
        _pull_up(drawing, NODE_AT, y, circuit.shunt)
    elif circuit.shape == DIVIDED:
        _resistor(drawing, SERIES_AT, y, circuit.series)
        _to_ground(drawing, NODE_AT, y, circuit.shunt)
        _capacitor(drawing, FILTER_AT, y, "100 nF")
    elif circuit.shape == SMOOTHED:
        _resistor(drawing, SERIES_AT, y, circuit.series)
        _capacitor(drawing, FILTER_AT, y, "100 nF")
    elif circuit.shape == OUTPUT:
        _output(drawing, circuit, y)
    elif circuit.shape == BRIDGED:
        _ground(drawing, NODE_AT, y)


def _output(drawing: Drawing, circuit: Circuit, y: float) -> None:
    """Draw from the pin, on the right, to the motor controller, on the left."""
    drawing.line(
        [
            (PART_LEFT + PART_WIDTH + 12, y - 6),
            (PART_LEFT + PART_WIDTH, y),
            (PART_LEFT + PART_WIDTH + 12, y + 6),
        ],
        BLUE,
    )
    if circuit.series:
        _to_ground(drawing, 735, y, "10 kΩ")
        _resistor(drawing, FILTER_AT, y, circuit.series)
        _capacitor(drawing, 590, y, "220 nF")
    drawing.box(390, y - 13, 150, 26, PAPER, edge=BLUE)
    drawing.words(465, y + 4, circuit.note.partition(";")[0], BLUE, size=11, anchor="middle")
    if circuit.shunt:
        _to_ground(drawing, 345, y, circuit.shunt)
    else:
        _to_ground(drawing, 680, y, "10 kΩ")


def _resistor(drawing: Drawing, x: float, y: float, value: str) -> None:
    """Draw a resistor in the wire, as IEC 60617 draws it: a rectangle."""
    drawing.box(x, y - 6, 46, 12, PAPER, edge=INK)
    drawing.words(x + 23, y - 9, value, size=10, anchor="middle")


def _node(drawing: Drawing, x: float, y: float) -> None:
    drawing.circle(x, y, 2.6, INK)


def _to_ground(drawing: Drawing, x: float, y: float, value: str) -> None:
    _node(drawing, x, y)
    drawing.line([(x, y), (x, y + 30)])
    drawing.box(x - 5, y + 5, 10, 20, PAPER, edge=INK)
    drawing.words(x + 9, y + 19, value, size=10)
    _ground(drawing, x, y + 30)


def _capacitor(drawing: Drawing, x: float, y: float, value: str) -> None:
    _node(drawing, x, y)
    drawing.line([(x, y), (x, y + 12)])
    drawing.line([(x - 8, y + 12), (x + 8, y + 12)], width=2)
    drawing.line([(x - 8, y + 17), (x + 8, y + 17)], width=2)
    drawing.line([(x, y + 17), (x, y + 30)])
    drawing.words(x + 12, y + 19, value, size=10)
    _ground(drawing, x, y + 30)


def _pull_up(drawing: Drawing, x: float, y: float, value: str) -> None:
    _node(drawing, x, y)
    drawing.line([(x, y), (x, y - 27)])
    drawing.box(x - 5, y - 24, 10, 20, PAPER, edge=INK)
    drawing.words(x + 9, y - 10, value, size=10)
    drawing.words(x - 9, y - 18, "3.3 V", RED, size=10, anchor="end")


def _ground(drawing: Drawing, x: float, y: float) -> None:
    for half, down in ((8, 0), (5, 3), (2, 6)):
        drawing.line([(x - half, y + down), (x + half, y + down)], INK if down == 0 else QUIET)
