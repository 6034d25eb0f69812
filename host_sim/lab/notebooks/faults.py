"""Lesson 6 as a notebook."""

import marimo

app = marimo.App(width="medium", app_title="Lesson 6: break it")


@app.cell
def _():
    import marimo as mo

    from host_sim.lab import page
    from host_sim.lab.faults import FAULTS_TO_TRY, GUESSES, STAFFS, check_guess, try_fault
    from host_sim.lab.faults_figure import draw_fault

    return FAULTS_TO_TRY, GUESSES, STAFFS, check_guess, draw_fault, mo, page, try_fault


@app.cell
def _(page):
    page.heading(6)


@app.cell
def _(at, cadence, draw_fault, fault, guess, page, staff, try_fault):
    broken = try_fault(fault.value, at.value, cadence.value, staff.value)
    page.picture(draw_fault(broken, revealed=guess.value is not None))
    return (broken,)


@app.cell
def _(FAULTS_TO_TRY, STAFFS, mo, page):
    first = next(iter(FAULTS_TO_TRY))
    fault = mo.ui.dropdown(list(FAULTS_TO_TRY), value=first, label="what breaks", full_width=True)
    staff = mo.ui.dropdown(list(STAFFS), value=STAFFS[0], label="at work", full_width=True)
    at = mo.ui.slider(2.5, 5.0, 0.1, value=3.0, label="when it breaks, s", show_value=True, full_width=True)
    cadence = mo.ui.slider(30, 90, 5, value=60, label="cadence, rpm", show_value=True, full_width=True)
    page.controls(fault, staff, at, cadence)
    return at, cadence, fault, staff


@app.cell
def _(GUESSES, fault, mo, staff):
    # A new fault wants a new guess: reading these values here makes this cell run again.
    _ = fault.value, staff.value
    guess = mo.ui.dropdown(list(GUESSES), allow_select_none=True, label="your guess: the motor …")
    guess  # noqa: B018 - what stands last in a cell is shown
    return (guess,)


@app.cell
def _(broken, check_guess, guess, page):
    page.exercise("Pick what breaks, guess what the motor does, and look.", check_guess(broken, guess.value))


@app.cell
def _(page):
    page.notes(
        """
The trike rides steadily, something breaks, the legs stop at 6.5 s. Three lines of defence stand behind
each other: the logic's own senses, the fault latch (first cause, stays until cleared), and the output
guard, which recomputes from raw edges and inputs alone and may only lower.

| try | see |
|---|---|
| throttle wire breaks | latched within 30 ms, six samples in a row |
| wire of channel B breaks | the logic sees no progress and stops; two turns later the latch names the cause |
| magnet falls off | nothing: one gap is within the stop gap at this cadence. Try 30 rpm |
| current reading sticks | the latch sees it only once current flows that nobody asked for |
| wheel sensor is lost | driving on without speed, for the 2 s set here (6 s by default) |
| program stalls | no logic runs at all: the outputs expire by themselves |

Then put everything but the guard to sleep, with a logic that always wants to drive. The guard asks one
thing only: do the raw inputs justify a push at all? At 60 rpm and 3 s:

| what breaks | the guard alone, while the legs turn |
|---|---|
| a throttle wire breaks | goes on helping |
| a throttle wire touches its supply | goes on helping |
| one magnet falls off | goes on helping |
| electric noise on the pedal sensor | lapses, then helps again |
| the current reading sticks | lapses, then helps again |
| the wheel sensor is lost | stops, but later |
| the wire of pedal sensor channel B breaks | stops, but later |
| both pedal sensor wires are exchanged | stops at once |
| the battery wire breaks | stops at once |
| the program stalls again and again | stops at once |

When the legs stop it ends help within two thirds of a second, by looser limits than the logic's. With
noise on the sensor it does not: edges of noise pass for edges of a crank. That is why there are three.

A latch asleep and a stubborn logic are parts of this lesson only; the firmware has no such switch.
"""
    )


@app.cell
def _(page):
    page.links(6)


if __name__ == "__main__":
    app.run()
