"""Lesson 1 as a notebook."""

import marimo

app = marimo.App(width="medium", app_title="Lesson 1: two channels")


@app.cell
def _():
    import marimo as mo

    from host_sim.lab import page
    from host_sim.lab.direction import check_direction, turn_crank
    from host_sim.lab.direction_figure import draw_direction

    return check_direction, draw_direction, mo, page, turn_crank


@app.cell
def _(page):
    page.heading(1)


@app.cell
def _(angle, draw_direction, look, page, swapped, turn_crank):
    turned = turn_crank(angle.value, look.value, swapped.value)
    page.picture(draw_direction(turned))
    return (turned,)


@app.cell
def _(mo, page):
    angle = mo.ui.slider(
        -360, 360, 1, value=100, label="turn the crank, degrees", show_value=True, full_width=True
    )
    look = mo.ui.slider(
        0,
        45,
        1,
        value=0,
        label="look only every … degrees (0: every edge)",
        show_value=True,
        full_width=True,
    )
    swapped = mo.ui.switch(label="exchange the two wires")
    page.controls(angle, look, swapped)
    return angle, look, swapped


@app.cell
def _(check_direction, page, turned):
    page.exercise(
        "Turn the crank forward by half a turn or more, and make "
        " the board count backward without one invalid jump, wires untouched.",
        check_direction(turned),
    )


@app.cell
def _(page):
    page.notes(
        """
Eight magnets pass two pickups a quarter of a pitch apart. Turning forward, A changes first; the pair of
levels walks 00, 10, 11, 01 and round again, one step an edge. The firmware's own decoder
(`firmware/sense/crank.py`) counts here.

1. Turn forward, then backward below zero: the same states, walked the other way. Ask who sees it in the
   traces.
2. Exchange the wires: the count turns its sign. This is the commonest mistake in fitting; it is cured by
   the setting `lead` or by the wires, not by both.
3. Let the board look every 22 or 23 degrees, two states at a time: *invalid* jumps. It knows that it
   knows nothing.
4. Every 34 degrees: three states forward look like one backward. No error at all, and wrong. Sampling
   too slowly folds a motion over, in the time domain what a stroboscope does to a wheel.

To discuss: at 120 rpm this ring gives an edge every 15.6 ms (60 / (120 × 8 × 4) s). How often must a
loop look?
"""
    )


@app.cell
def _(page):
    page.links(1)


if __name__ == "__main__":
    app.run()
