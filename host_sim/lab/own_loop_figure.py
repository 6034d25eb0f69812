"""Own loop's figure: pedalling and brake, and how the controller reacted."""

from host_sim.lab.own_loop import AGAIN_S, BRAKE_S, END_S, RELEASE_S, START_S, STOP_S, Owned
from host_sim.report.svg import BLUE, GREEN, ORANGE, PAPER, PURPLE, Drawing, Panel

_FROM_S = 1.0
_WORDS_WIDE = 80.0  # A name that fits is inside its bar, another one is left of it.


def draw_own(owned: Owned) -> str:
    """Return the chart of the first ride as SVG."""
    held = sum(rule.held for rule in owned.rules)
    drawing = Drawing(440, 300, f"The ride with your controller: {held} of {len(owned.rules)} rules held.")
    samples = owned.ridden.samples
    power = Panel(drawing, (44, 76, 388, 92), (_FROM_S, END_S), (0.0, 600.0))
    command = Panel(drawing, (44, 200, 388, 62), (_FROM_S, END_S), (0.0, 4.0))
    for top, name, spans, colour in (
        (4.0, "legs turn", ((START_S, STOP_S), (AGAIN_S, END_S)), PURPLE),
        (28.0, "brake", ((BRAKE_S, RELEASE_S),), ORANGE),
    ):
        for begun_s, ended_s in spans:
            left, right = power.x_at(begun_s), power.x_at(ended_s)
            drawing.box(left, top, right - left, 18, colour)
            if right - left > _WORDS_WIDE:
                drawing.words(left + 6, top + 14, name, PAPER, 13, bold=True)
            else:
                drawing.words(left - 6, top + 14, name, colour, 13, "end", bold=True)
    power.axes([], [0, 200, 400, 600])
    given = list(zip(samples.time_s, samples.power_w, strict=True))
    power.area(given, "#bfe0d4")
    power.plot(given, GREEN, 3)
    command.axes([2, 4, 6, 8, 10], [0, 2, 4], "seconds")
    command.plot(list(zip(samples.time_s, samples.command_v, strict=True)), BLUE, 2.4)
    for at_s in (STOP_S, BRAKE_S):
        x = power.x_at(at_s)
        drawing.line([(x, 2), (x, 262)], ORANGE if at_s == BRAKE_S else PURPLE, 1.4, "2 3")
    drawing.words(44, 68, "power of the motor, W", GREEN, 13, bold=True)
    drawing.words(44, 192, "command, V", BLUE, 13, bold=True)
    return drawing.text()
