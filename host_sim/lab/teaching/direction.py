"""Lesson 'direction' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "tell forward from backward by the order of two signals",
        "say why looking too seldom is worse than looking never",
    ),
    minutes=20,
    notes="""
<p>Eight magnets pass two pickups a quarter of a pitch apart, which puts the two channels in quadrature.
Turning forward, A changes first; the pair of
levels walks 00, 10, 11, 01 and round again, one step an edge: a Gray code, of which only one digit changes
at a time. The firmware's own decoder
(<code>firmware/sense/crank.py</code>) counts here.</p>
<ol>
<li>Turn forward, then backward below zero: the same states, walked the other way. Ask who sees it in the
traces.</li>
<li>Exchange the wires: the count turns its sign. This is the commonest mistake in fitting; it is cured by
the setting <code>lead</code> or by the wires, not by both.</li>
<li>Let the board look every 22 or 23 degrees, two states at a time: <em>invalid</em> jumps. It knows that it
knows nothing.</li>
<li>Every 34 degrees: three states forward look like one backward. No error at all, and wrong. Sampling
too slowly folds a motion over (<em>aliasing</em>; one look a state at least, Nyquist's condition), as
a stroboscope does to a wheel.</li>
<li>The moment at which the board begins to look is luck. The exercise counts only what holds for eight of
them: 42 degrees fool most of those boards within half a turn, 34 degrees all.</li>
</ol>
<p>To discuss: at 120 rpm this ring gives an edge every 15.6 ms (60 / (120 × 8 × 4) s). How often must a
loop look?</p>
""",
    questions=(
        Question(
            "Eight magnets pass two pickups; each magnet makes each signal rise once and fall once. How many "
            "edges come in a turn of the crank, and how many degrees apart are they?",
            "8 × 2 × 2 = 32 edges, 360° / 32 = 11.25° apart.",
        ),
        Question(
            "Forward, the pair of signals walks 00, 10, 11, 01 and round again. Which state follows 11 "
            "forward, and which backward?",
            "Forward 01, backward 10. Only one digit changes at a time.",
        ),
        Question(
            "The crank turns at 120 rpm. How long is it from one edge to the next?",
            "60 s / (120 × 32) = 15.6 ms. A board that looks more often than that misses none.",
        ),
        Question(
            "A board looks so seldom that three states pass in between. What does it read when the crank "
            "turns forward, and does it notice?",
            "One state backward: four states make a round, so three forward look like one backward. It "
            "notices nothing.",
        ),
    ),
    solutions=({"angle_deg": 360, "look_every_deg": 34, "swapped": False},),
)
