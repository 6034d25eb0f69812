"""Lesson 5 as a notebook."""

import marimo

app = marimo.App(width="medium", app_title="Lesson 5: selector, throttle, place")


@app.cell
def _():
    import marimo as mo

    from host_sim.lab import page
    from host_sim.lab.levers import check_levers, places_to_choose, try_levers
    from host_sim.lab.levers_figure import draw_levers

    return check_levers, draw_levers, mo, page, places_to_choose, try_levers


@app.cell
def _(page):
    page.heading(5)


@app.cell
def _(draw_levers, page, pedalling, place, position, throttle, try_levers):
    tried = try_levers(place.value, position.value, throttle.value, pedalling.value)
    page.picture(draw_levers(tried))
    return (tried,)


@app.cell
def _(mo, page, places_to_choose):
    choice = places_to_choose()
    place = mo.ui.dropdown(choice, value=next(iter(choice)), label="place", full_width=True)
    position = mo.ui.slider(1, 4, 1, value=3, label="selector position", show_value=True, full_width=True)
    throttle = mo.ui.slider(0, 100, 10, value=0, label="throttle, percent", show_value=True, full_width=True)
    pedalling = mo.ui.switch(value=True, label="pedalling")
    page.controls(position, throttle, pedalling, place)
    return pedalling, place, position, throttle


@app.cell
def _(check_levers, page, tried):
    page.exercise("Find a place where the throttle alone drives at 15 km/h.", check_levers(tried))


@app.cell
def _(page):
    page.notes(
        """
A roller turns the wheel from standing to 36 km/h while hands and legs stay as they are. Asked for is the
larger of assist power times the selector's share, and the throttle; allowed is the least of the power
limit and the fades.

1. Pedalling, position 1 to 4: the height changes, the cut-off speed does not.
2. Not pedalling, throttle fully open: in one place a push to walking pace, in another nothing, in a
   third all the way.
3. New South Wales: the power falls from 6 km/h on. The taper is a straight line, so that no ceiling
   makes a step.
4. Pedalling with position 1 and the throttle open: the throttle asks while the legs allow.

**The profiles are starting points only: check your local code.** They are read from public texts with a
date, laws change, and towns and paths have rules of their own (`host_sim/rules/places.toml` has the
sources).

To discuss: the power stays some 1 % above the limit while the roller gets faster. Why? (The power loop
follows a back-EMF that rises; a PI loop lags behind a ramp. The law's limit is one on continuous power.)
Why does help end within 0.2 km/h of the speed that is set, but not exactly there? (The speed is known a
wheel pulse late, and less than 20 W are not counted as help here.) Why is it set to end below 25
km/h in the United Kingdom and in Australia, but not in the European Union? (Some texts know no tolerance
in measuring; the setting leaves room for the pulse that comes late.)
"""
    )


@app.cell
def _(page):
    page.links(5)


if __name__ == "__main__":
    app.run()
