"""Lesson 'slew' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=("tell jerk from acceleration", "give the reason why a cut is not slewed"),
    minutes=20,
    notes="""
<p>The command voltage may rise only so many millivolts a second. A step of it is a step of torque, and a
step of torque is a jerk: force over mass, per time.</p>
<ol>
<li>Start at 50 mV/s: never there. Then 5000: there at once, and everybody in the box knows.</li>
<li>Load and unload: the same rate jerks the empty trike twice as hard. Set up for the lightest case.</li>
<li>Look at the end: the fall is not slewed. Comfort may wait, safety may not: a cut goes past the
slew limiter, some 0.2 s after the legs stop (the stop gap), and jerks by -2 to -4 m/s³.</li>
</ol>
<p>The jerk shown is that of the motor alone, over a tenth of a second; legs add their own. The wish of 0.6
m/s³ is this lesson's, no standard's.</p>
<p>To discuss: the dashed voltage begins with a jump to 1.1 V. Why is that no jerk? (The motor controller's
dead band: below it nothing moves.)</p>
""",
    questions=(
        Question(
            "The command may rise by 500 mV a second. How long does it take from 1.1 V to 3.1 V?",
            "(3.1 − 1.1) V / 0.5 V/s = 4 s.",
        ),
        Question(
            "The motor pushes 150 kg with 90 N. What is the acceleration? The push has come within half a "
            "second: what is the jerk?",
            "90 N / 150 kg = 0.6 m/s², and 0.6 m/s² / 0.5 s = 1.2 m/s³.",
        ),
        Question(
            "The same push comes as fast, but bicycle and load weigh twice as much. What becomes "
            "of the jerk?",
            "It is half as large: the same force moves twice the mass. So set up for the lightest case.",
        ),
        Question(
            "Why may the push come slowly, but not go slowly?",
            "A push that comes late is a nuisance; one that stays when the legs have stopped is a danger.",
        ),
    ),
    solutions=({"rise_mv_per_s": 1000, "load_kg": 0},),
)
