"""Lesson 'slew' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=("distinguish jerk from acceleration", "explain why a cut is not slewed"),
    minutes=20,
    notes="""
<p>The rise rate limits how fast the command voltage rises, in millivolts per second. A step in the voltage is
a step in torque, and a step in torque is a jerk: force over mass, per time.</p>
<ol>
<li>Start at 50 mV/s: full power is never reached. Then 5000: it comes at once, and the passengers in the box
feel it.</li>
<li>Load and unload: the same rate jerks the empty trike twice as hard. Set it up for the lightest case.</li>
<li>Look at the end: the fall is not slewed, because safety comes before comfort. A cut bypasses the
slew limiter, about 0.2 s after pedalling stops (the stop gap), and jerks by -2 to -4 m/s³.</li>
</ol>
<p>The jerk shown is the motor's alone, over a tenth of a second; pedalling adds its own. The target of 0.6
m/s³ is this lesson's own, not from a standard.</p>
<p>To discuss: the dashed voltage begins with a jump to 1.1 V. Why does it cause no jerk? (The motor
controller has a dead band: below its end nothing moves.)</p>
""",
    questions=(
        Question(
            "The command may rise by 500 mV per second. How long does it take from 1.1 V to 3.1 V?",
            "(3.1 − 1.1) V / 0.5 V/s = 4 s.",
        ),
        Question(
            "The motor pushes 150 kg with 90 N. What is the acceleration? The push rose within half a "
            "second: what is the jerk?",
            "90 N / 150 kg = 0.6 m/s², and 0.6 m/s² / 0.5 s = 1.2 m/s³.",
        ),
        Question(
            "The same push rises equally fast, but bicycle and load weigh twice as much. How does the jerk "
            "change?",
            "It is half as large: the same force moves twice the mass. So set up for the lightest case.",
        ),
        Question(
            "Why may the push rise slowly, but not fall slowly?",
            "A late push is a nuisance; a push that goes on after pedalling has stopped is a danger.",
        ),
    ),
    solutions=({"rise_mv_per_s": 1000, "load_kg": 0},),
)
