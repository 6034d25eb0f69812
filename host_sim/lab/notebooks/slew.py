"""Lesson 3 as a notebook."""

import marimo

app = marimo.App(width="medium", app_title="Lesson 3: slew")


@app.cell
def _():
    import marimo as mo

    from host_sim.lab import page
    from host_sim.lab.slew import check_slew, try_slew
    from host_sim.lab.slew_figure import draw_slew

    return check_slew, draw_slew, mo, page, try_slew


@app.cell
def _(page):
    page.heading(3)


@app.cell
def _(draw_slew, load, page, rise, try_slew):
    tried = try_slew(rise.value, load.value)
    page.picture(draw_slew(tried))
    return (tried,)


@app.cell
def _(mo, page):
    rates = [50, 100, 200, 300, 400, 600, 800, 1000, 1200, 1500, 2000, 3000, 5000]
    rise = mo.ui.slider(steps=rates, value=400, label="rise rate, mV/s", show_value=True, full_width=True)
    load = mo.ui.slider(0, 150, 10, value=60, label="load in the box, kg", show_value=True, full_width=True)
    page.controls(rise, load)
    return load, rise


@app.cell
def _(check_slew, page, tried):
    page.exercise("Set the trike up for its hardest case, gentle and yet quick.", check_slew(tried))


@app.cell
def _(page):
    page.notes(
        """
The command voltage may rise only so many millivolts a second. A step of it is a step of torque, and a
step of torque is a jerk: force over mass, per time.

1. Start at 50 mV/s: never there. Then 5000: there at once, and everybody in the box knows.
2. Load and unload: the same rate jerks the empty trike twice as hard. Set up for the lightest case.
3. Look at the end: the fall is not slewed. Comfort may wait, safety may not: a cut goes past the
   slew limiter, some 0.2 s after the legs stop (the stop gap), and jerks by -2 to -4 m/s³.

The jerk shown is that of the motor alone, over a tenth of a second; legs add their own. The wish of 0.6
m/s³ is this lesson's, no standard's.

To discuss: the dashed voltage begins with a jump to 1.1 V. Why is that no jerk? (The motor controller's
dead band: below it nothing moves.)
"""
    )


@app.cell
def _(page):
    page.links(3)


if __name__ == "__main__":
    app.run()
