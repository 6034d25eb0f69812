"""Lesson 'direction' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "tell forward from backward by the order of two signals",
        "explain why reading too seldom is worse than not reading at all",
    ),
    minutes=20,
    notes="""
<p>Eight magnets pass two pickups a quarter of a pitch apart, which puts the two channels in quadrature.
When the crank turns forward, A changes first. The pair of
levels goes through 00, 10, 11, 01 and starts again, one state per edge. This is a Gray code: only one digit
changes at a time. The lesson counts with the firmware's own decoder
(<code>firmware/sense/crank.py</code>).</p>
<ol>
<li>Turn forward, then backward below zero: the same states in the opposite order. Ask who sees it in the
traces.</li>
<li>Exchange the wires: the count changes its sign. This is the most common mistake in fitting; correct it
with the setting <code>lead</code> or at the wires, not both.</li>
<li>Let the board read every 22 or 23 degrees, two states at a time: <em>invalid</em> jumps. The board
notices that it has missed something.</li>
<li>Every 34 degrees: three states forward look like one backward. The count is wrong and no error shows.
This is <em>aliasing</em>, as with a wheel under a stroboscope: the board must read at least once per state
(Nyquist's condition).</li>
<li>The moment at which the board starts to read is random. The exercise is solved only if the result is the
same for eight starting moments: 42 degrees fool most of these boards within half a turn, 34 degrees all.</li>
</ol>
<p>To discuss: at 120 rpm this ring gives an edge every 15.6 ms (60 / (120 × 8 × 4) s). How often must a
loop read?</p>
""",
    questions=(
        Question(
            "Eight magnets pass two pickups; each magnet makes each signal rise once and fall once. How many "
            "edges are there in one turn of the crank, and how many degrees apart are they?",
            "8 × 2 × 2 = 32 edges, 360° / 32 = 11.25° apart.",
        ),
        Question(
            "Forward, the pair of signals goes through 00, 10, 11, 01 and starts again. Which state follows "
            "11 forward, and which backward?",
            "Forward 01, backward 10. Only one digit changes at a time.",
        ),
        Question(
            "The crank turns at 120 rpm. How much time passes from one edge to the next?",
            "60 s / (120 × 32) = 15.6 ms. A board that reads more often than that misses no edge.",
        ),
        Question(
            "A board reads so seldom that three states pass in between. What does it count when the crank "
            "turns forward, and does it notice the error?",
            "One state backward: four states make a full cycle, so three forward look like one backward. "
            "It notices nothing.",
        ),
    ),
    solutions=({"angle_deg": 360, "look_every_deg": 34, "swapped": False},),
)
