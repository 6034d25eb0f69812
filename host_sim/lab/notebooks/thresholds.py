"""Lesson 2 as a notebook."""

import marimo

app = marimo.App(width="medium", app_title="Lesson 2: thresholds")


@app.cell
def _():
    import marimo as mo

    from host_sim.lab import page
    from host_sim.lab.thresholds import check_thresholds, try_thresholds
    from host_sim.lab.thresholds_figure import draw_thresholds

    return check_thresholds, draw_thresholds, mo, page, try_thresholds


@app.cell
def _(page):
    page.heading(2)


@app.cell
def _(draw_thresholds, edges, page, pulses, stop, try_thresholds):
    tried = try_thresholds(pulses.value, edges.value, stop.value)
    page.picture(draw_thresholds(tried))
    return (tried,)


@app.cell
def _(mo, page):
    pulses = mo.ui.slider(
        steps=[4, 6, 8, 10, 12, 16, 20, 24, 32], value=8, label="magnets", show_value=True, full_width=True
    )
    edges = mo.ui.slider(
        2, 24, 2, value=6, label="edges asked for before engaging", show_value=True, full_width=True
    )
    stop = mo.ui.slider(
        100, 240, 20, value=120, label="stop gap, percent of the last pitch", show_value=True, full_width=True
    )
    page.controls(pulses, edges, stop)
    return edges, pulses, stop


@app.cell
def _(check_thresholds, page, tried):
    page.exercise(
        "With 8 magnets, is there a setting that meets all three wishes? Find the fewest magnets that do.",
        check_thresholds(tried),
    )


@app.cell
def _(page):
    page.notes(
        """
The trike rides away, slows its legs down, stops pedalling at 6.5 s. Its ring tells the direction by
duty, so it says something only once a pitch; its magnets were glued by hand and sit up to 2.5° off.

* *Edges asked for*: fewer means sooner help, and sooner help for a nudge that was not meant.
* *Stop gap*: the time without an edge that means "stopped", as a share of the pitch just measured.
  Shorter stops sooner, until a magnet that sits late, or legs that slow down, look like a stop: help
  lapses.
* *Magnets*: more of them make both ends better, until their glue errors become a large share of the
  pitch (try 32 magnets and 110 %).

A fixed time-out is the trade's usual answer: long enough for slow legs is too long at speed. Here the
gap follows the pitch; two more limits, the release cadence and the cut-off distance, stand behind it
(`firmware/decide/pedalling.py`).

One stop tells little: legs that stop just before a pulse are noticed a pitch sooner than legs that stop
just after one. So the lesson stops at many places, draws a dot for each and judges the worst.

To discuss: why does the worst run-on at 8 magnets hardly fall below a quarter of a second? (A pitch at
32 rpm lasts 60 / (32 × 8) = 0.23 s, and before it has passed nobody can know.)
"""
    )


@app.cell
def _(page):
    page.links(2)


if __name__ == "__main__":
    app.run()
