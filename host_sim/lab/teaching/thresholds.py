"""Lesson 'thresholds' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "name the drawbacks of fewer edges and of a longer stop gap",
        "see that one measurement at a random moment shows little",
    ),
    minutes=25,
    notes="""
<p>The rider starts, pedals more slowly, and stops pedalling at 6.5 s. The ring gives the direction by its
duty, so it gives it only once per pitch; the magnets were glued by hand and are up to 2° off.</p>
<ul>
<li><em>Edges before engaging</em>: with fewer edges help starts earlier, also after an accidental nudge.</li>
<li><em>Stop gap</em>: the time without an edge after which pedalling counts as stopped, as a share of the
last pitch. A shorter gap stops earlier, until a misplaced magnet or slower pedalling looks like a stop: help
lapses.</li>
<li><em>Magnets</em>: more magnets improve both start and stop, until their placement errors become a large
share of the pitch (try 32 magnets and 120 %).</li>
</ul>
<p>The usual solution is a fixed time-out: if it is long enough for slow pedalling, it is too long at high
speed. Here the gap follows the pitch; two more limits apply, the release cadence and the cut-off distance
(<code>firmware/decide/pedalling.py</code>).</p>
<p>One stop shows little: a stop just before a pulse is noticed one pitch earlier than a stop just after a
pulse. So the lesson copies the ride, stops at many angles of the crank, draws a dot for each and judges the
worst. In the worst case the crank just reaches a pulse, slowly, so that the last pitch is longest, and with
it the stop gap. The lesson also starts from four angles between two magnets. Run-on counts from the moment
when the crank stands still.</p>
<p>To discuss: why does the longest run-on with 8 magnets hardly fall below a quarter of a second? (A pitch at
32 rpm lasts 60 / (32 × 8) = 0.23 s, and nothing can be known before it has passed.) Why is the mean of the
dots misleading? (Half of all riders see less; the one at a crossing may meet the worst case.)</p>
""",
    questions=(
        Question(
            "The crank turns at 32 rpm. How long does a pitch (from one magnet to the next) last with 8 "
            "magnets, and with 16?",
            "60 s / (32 × 8) = 0.234 s, and half of that, 0.117 s.",
        ),
        Question(
            "The stop gap is 140 % of a pitch. How long after the last pulse is a stop noticed, at 32 rpm "
            "with 16 magnets?",
            "1.4 × 0.117 s = 0.164 s after the pulse.",
        ),
        Question(
            "A magnet is glued on 2° too late. What share of a pitch is that with 8 magnets, and with 32? "
            "Why does it matter?",
            "2 / 45 = 4 %, and 2 / 11.25 = 18 %. A pitch longer than the stop gap looks like a stop, and "
            "help lapses.",
        ),
        Question(
            "This ring gives two edges per pitch. Engaging needs six edges, with 16 magnets. By how many "
            "degrees must the crank turn at most, if almost a whole pitch passes before the first edge that "
            "counts?",
            "Three pitches and one more: 4 × 22.5° = 90°.",
        ),
    ),
    solutions=({"pulses": 16, "engage_edges": 4, "stop_percent": 140},),
)
