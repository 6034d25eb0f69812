"""Lesson 'faults' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=("predict before looking", "explain what each of three protection layers can and can't detect"),
    minutes=30,
    notes="""
<p>The trike rides steadily, something breaks, and the rider stops pedalling at 6.5 s. There are three
protection layers: the logic's own sensing, the fault latch (keeps the first cause until it is cleared), and
the output guard, which recomputes everything from raw edges and inputs and can only lower the command.</p>
<table>
<tr><th>try</th><th>see</th></tr>
<tr><td>throttle wire breaks</td><td>latched within 30 ms, six samples in a row</td></tr>
<tr><td>wire of channel B breaks</td><td>the logic sees no progress and stops; two turns later the latch
names the cause</td></tr>
<tr><td>magnet falls off</td><td>nothing: one gap is within the stop gap at this cadence. Try 30 rpm</td></tr>
<tr><td>current reading sticks</td><td>the latch sees it only when current flows without a
command</td></tr>
<tr><td>wheel sensor is lost</td><td>the motor drives on without a speed for the 2 s set here (6 s by
default)</td></tr>
<tr><td>program stalls</td><td>no logic runs at all: the outputs expire by themselves</td></tr>
</table>
<p>Then switch everything off except the guard, with faulty logic that always wants to drive. The guard checks
one thing only: do the raw inputs justify any push? At 60 rpm and 3 s:</p>
<table>
<tr><th>what breaks</th><th>the guard alone, during pedalling</th></tr>
<tr><td>a throttle wire breaks</td><td>goes on helping</td></tr>
<tr><td>a throttle wire touches its supply</td><td>goes on helping</td></tr>
<tr><td>one magnet falls off</td><td>goes on helping</td></tr>
<tr><td>electrical noise on the pedal sensor</td><td>lapses, then helps again</td></tr>
<tr><td>the current reading sticks</td><td>goes on helping</td></tr>
<tr><td>the wheel sensor is lost</td><td>stops, but later</td></tr>
<tr><td>the wire of pedal sensor channel B breaks</td><td>lapses, then helps again</td></tr>
<tr><td>both pedal sensor wires are exchanged</td><td>stops at once</td></tr>
<tr><td>the battery wire breaks</td><td>stops at once</td></tr>
<tr><td>the program stalls again and again</td><td>stops at once</td></tr>
</table>
<p>Each part breaks at three moments, 0.12 and 0.25 s apart, and the worst outcome counts: with channel B the
guard alone stops in only two of the three rides, because alternating edges of one channel can still look like
a turning crank. The effect of a stuck current reading depends on the value at which it is stuck.</p>
<p>When pedalling stops, the guard ends help within two thirds of a second; its limits are looser than the
logic's. With noise on the sensor it does not: noise looks like edges of the crank. That is why there are
three layers.</p>
<p>The disabled latch and the faulty logic exist in this lesson only; the firmware has no such switch.</p>
""",
    questions=(
        Question(
            "The throttle is read every 5 ms, and a broken wire must show in six readings in a row. How long "
            "does that take at most?",
            "6 × 5 ms = 30 ms.",
        ),
        Question(
            "The program stalls: none of its lines run any more. What stops the motor?",
            "The outputs expire by themselves after 50 ms, because nothing renews them.",
        ),
        Question(
            "The latch keeps the first cause until somebody clears it. Why is that useful?",
            "Later faults are often results of the first. Whoever repairs the bicycle sees where it began, "
            "and the motor does not start again by itself.",
        ),
        Question(
            "The output guard may lower the command but never raise it. Why?",
            "So that a mistake in the guard can't drive the motor: in the worst case it stops the motor.",
        ),
    ),
    solutions=(),
)
