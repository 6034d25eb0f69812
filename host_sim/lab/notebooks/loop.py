"""Lesson 4 as a notebook."""

import marimo

app = marimo.App(width="medium", app_title="Lesson 4: the power loop")


@app.cell
def _():
    import marimo as mo

    from host_sim.lab import page
    from host_sim.lab.loop import check_loop, try_loop
    from host_sim.lab.loop_figure import draw_loop

    return check_loop, draw_loop, mo, page, try_loop


@app.cell
def _(page):
    page.heading(4)


@app.cell
def _(anti_windup, draw_loop, gain, integral, page, try_loop):
    looped = try_loop(gain.value, integral.value, anti_windup.value)
    page.picture(draw_loop(looped))
    return (looped,)


@app.cell
def _(mo, page):
    gains = [200, 400, 800, 1200, 2000, 3000, 5000, 8000, 12000, 16000, 20000, 30000, 50000]
    gain = mo.ui.slider(steps=gains, value=400, label="gain, µV/W", show_value=True, full_width=True)
    times = [20, 30, 50, 80, 120, 200, 300]
    integral = mo.ui.slider(
        steps=times, value=120, label="integral time, ms", show_value=True, full_width=True
    )
    anti_windup = mo.ui.switch(value=True, label="anti-windup")
    page.controls(gain, integral, anti_windup)
    return anti_windup, gain, integral


@app.cell
def _(check_loop, looped, page):
    page.exercise(
        "Make the step quick and calm with a loop that needs its anti-windup. "
        "Then take the anti-windup away.",
        check_loop(looped),
    )


@app.cell
def _(page):
    page.notes(
        """
On a roller at 18 km/h the selector jumps from its second position to full. The loop is the firmware's
own, in integers (`firmware/drive/power_loop.py`), a PI controller: the command is the end of the motor
controller's dead band, plus the P part (gain times error), plus the I part (the error summed over time).
The power stage is a slow one (lag 0.1 s), so that the eye can follow.

1. Integral time 20 ms, raise the gain: at 12000 the curve passes through −1, and the bench begins to
   swing, at the 7 Hz that the curve predicts: gain margin 1. At 16000 it surges for good. Predicted and
   ridden agree.
2. Integral time 120 ms, near the lag: the same gain is calm. The integral no longer pushes while the
   stage is on its way.
3. Gain 5000, integral 50 ms, anti-windup off: the command never reaches its highest value, but the slew
   limit (10 V/s) holds it back. Meanwhile the I part counts on, and pays it back as overshoot. With
   anti-windup the I part follows the command that really went out.
4. Very high gain swings in spite of a margin above 1: beyond the curve there are limits, whole
   millivolts, and a supply that gives way. A linear model is a promise about small swings only.

The Nyquist plot is the open loop in the complex plane, the Bode plot the same over the frequency. Gain
margin: how often the gain may grow before the curve meets −1. Phase margin: the angle that is left where
the gain is 1. Both are computed from the gain, the lag, the firmware's
smoothing and one control period of delay. Anti-windup off is a loop of this lesson, not of the firmware:
there it can't be switched off. The board is told that its motor is unknown (`motor_kind` 0): of a known
one it never commands more than the allowed power needs, which hides much of a bad loop.
"""
    )


@app.cell
def _(page):
    page.links(4)


if __name__ == "__main__":
    app.run()
