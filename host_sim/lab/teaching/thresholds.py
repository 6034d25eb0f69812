"""Lesson 'thresholds' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "name what fewer edges and a longer stop gap cost",
        "see that one measurement of a random moment tells little",
    ),
    minutes=25,
    notes="""
<p>The trike rides away, slows its legs down, stops pedalling at 6.5 s. Its ring tells the direction by
duty, so it says something only once a pitch; its magnets were glued by hand and sit up to 2° off.</p>
<ul>
<li><em>Edges asked for</em>: fewer means sooner help, and sooner help for a nudge that was not meant.</li>
<li><em>Stop gap</em>: the time without an edge that means "stopped", as a share of the pitch just measured.
Shorter stops sooner, until a magnet that sits late, or legs that slow down, look like a stop: help
lapses.</li>
<li><em>Magnets</em>: more of them make both ends better, until their glue errors become a large share of the
pitch (try 32 magnets and 120 %).</li>
</ul>
<p>A fixed time-out is the trade's usual answer: long enough for slow legs is too long at speed. Here the
gap follows the pitch; two more limits, the release cadence and the cut-off distance, stand behind it
(<code>firmware/decide/pedalling.py</code>).</p>
<p>One stop tells little: legs that stop just before a pulse are noticed a pitch sooner than legs that stop
just after one. So the lesson copies the ride and stops at many places of a turn, draws a dot for each and
judges the worst: the crank just reaches a pulse, slowly, so that the pitch measured last, and the stop gap
with it, is longest. It starts from four places between two magnets, too. Run-on counts from the moment at
which the crank stands.</p>
<p>To discuss: why does the worst run-on at 8 magnets hardly fall below a quarter of a second? (A pitch at
32 rpm lasts 60 / (32 × 8) = 0.23 s, and before it has passed nobody can know.) How does the mean of the dots
mislead? (Half of all riders would be glad about it; the one at the crossing meets the worst.)</p>
""",
    questions=(
        Question(
            "The legs turn at 32 rpm. How long does a pitch (from one magnet to the next) last with 8 "
            "magnets, and with 16?",
            "60 s / (32 × 8) = 0.234 s, and half of that, 0.117 s.",
        ),
        Question(
            "The stop gap is 140 % of a pitch. How long after the last pulse are resting legs noticed at 32 "
            "rpm with 16 magnets?",
            "1.4 × 0.117 s = 0.164 s after the pulse.",
        ),
        Question(
            "A magnet is glued on 2° too late. What share of a pitch is that with 8 magnets, and with 32? "
            "Why does it matter?",
            "2 / 45 = 4 %, and 2 / 11.25 = 18 %. A pitch longer than the stop gap looks like a stop, and "
            "help lapses.",
        ),
        Question(
            "This ring gives two edges a pitch. Six edges are asked for, with 16 magnets. By how many "
            "degrees must the crank turn at the most, if almost a whole pitch passes before the first "
            "edge that counts?",
            "Three pitches and one more: 4 × 22.5° = 90°.",
        ),
    ),
    solutions=({"pulses": 16, "engage_edges": 4, "stop_percent": 140},),
)
