"""Lesson 'faults' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=("predict before looking", "say what each of three lines of defence can and can't see"),
    minutes=30,
    notes="""
<p>The trike rides steadily, something breaks, the legs stop at 6.5 s. Three lines of defence stand behind
each other: the logic's own senses, the fault latch (first cause, stays until cleared), and the output
guard, which recomputes from raw edges and inputs alone and may only lower.</p>
<table>
<tr><th>try</th><th>see</th></tr>
<tr><td>throttle wire breaks</td><td>latched within 30 ms, six samples in a row</td></tr>
<tr><td>wire of channel B breaks</td><td>the logic sees no progress and stops; two turns later the latch
names the cause</td></tr>
<tr><td>magnet falls off</td><td>nothing: one gap is within the stop gap at this cadence. Try 30 rpm</td></tr>
<tr><td>current reading sticks</td><td>the latch sees it only once current flows that nobody asked
for</td></tr>
<tr><td>wheel sensor is lost</td><td>driving on without speed, for the 2 s set here (6 s by default)</td></tr>
<tr><td>program stalls</td><td>no logic runs at all: the outputs expire by themselves</td></tr>
</table>
<p>Then put everything but the guard to sleep, with a logic that always wants to drive. The guard asks one
thing only: do the raw inputs justify a push at all? At 60 rpm and 3 s:</p>
<table>
<tr><th>what breaks</th><th>the guard alone, while the legs turn</th></tr>
<tr><td>a throttle wire breaks</td><td>goes on helping</td></tr>
<tr><td>a throttle wire touches its supply</td><td>goes on helping</td></tr>
<tr><td>one magnet falls off</td><td>goes on helping</td></tr>
<tr><td>electric noise on the pedal sensor</td><td>lapses, then helps again</td></tr>
<tr><td>the current reading sticks</td><td>goes on helping</td></tr>
<tr><td>the wheel sensor is lost</td><td>stops, but later</td></tr>
<tr><td>the wire of pedal sensor channel B breaks</td><td>lapses, then helps again</td></tr>
<tr><td>both pedal sensor wires are exchanged</td><td>stops at once</td></tr>
<tr><td>the battery wire breaks</td><td>stops at once</td></tr>
<tr><td>the program stalls again and again</td><td>stops at once</td></tr>
</table>
<p>Each thing breaks at three moments, 0.12 and 0.25 s apart, and the worst outcome counts: with channel B the
guard alone stops in two of the three rides only, because edges of one channel, to and fro, may still pass for
a crank that turns. What a stuck current reading does hangs on the number at which it stuck.</p>
<p>When the legs stop it ends help within two thirds of a second, by looser limits than the logic's. With
noise on the sensor it does not: edges of noise pass for edges of a crank. That is why there are three.</p>
<p>A latch asleep and a stubborn logic are parts of this lesson only; the firmware has no such switch.</p>
""",
    questions=(
        Question(
            "The throttle is read every 5 ms, and a broken wire must show in six readings in a row. How long "
            "does that take at the most?",
            "6 × 5 ms = 30 ms.",
        ),
        Question(
            "The program stalls: no line of it runs any more. What stops the motor?",
            "The outputs expire by themselves after 50 ms, because nobody renews them.",
        ),
        Question(
            "The latch keeps the first cause until somebody clears it. What is that good for?",
            "What follows is often a result of the first. Whoever repairs it reads where it began, and "
            "nothing starts again by itself.",
        ),
        Question(
            "The output guard may lower the command but never raise it. Why?",
            "So a guard with a mistake in it can't drive the motor: at worst it stops it.",
        ),
    ),
    solutions=(),
)
