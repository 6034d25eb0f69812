"""Lesson 'levers' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "distinguish requested power from allowed power",
        "read a place profile as a starting point, not as the law",
    ),
    minutes=20,
    notes="""
<p>A roller turns the wheel from standstill to 36 km/h while pedalling, selector and throttle stay the same.
The requested power is the larger of assist power times the selector's share and the throttle's power. The
allowed power is the lowest of the power limit and the fades.</p>
<ol>
<li>Pedalling, positions 1 to 4: the power changes, the cut-off speed does not.</li>
<li>Not pedalling, throttle fully open: in one place the motor drives to walking pace, in another not at all,
in a third up to the cut-off speed.</li>
<li>New South Wales: the power falls from 6 km/h on. The taper is a straight line, so that the limit has no
step.</li>
<li>Pedalling with position 1 and the throttle open: the throttle sets the power, because pedalling allows
it.</li>
</ol>
<p><strong>The profiles are starting points only: check your local code.</strong> They were taken from
public texts on a certain date; laws change, and towns and paths have their own rules
(<code>host_sim/places/places.toml</code> has the sources).</p>
<p>To discuss: the power stays about 1 % above the limit while the roller speeds up. Why? (The power loop
follows a rising back-EMF, and a PI loop lags behind a ramp. The legal limit applies to continuous power.)
Why does help end within 0.2 km/h of the set speed, but not exactly there? (The measured speed is one wheel
pulse late, and this lesson does not count less than 20 W as help.) Why is help set to end below 25
km/h in the United Kingdom and in Australia, but not in the European Union? (Some texts allow no measuring
tolerance; the lower setting makes up for the late pulse.)</p>
""",
    questions=(
        Question(
            "The assist power is 250 W and the selector's third position is 70 %. How much does the selector "
            "request?",
            "0.7 × 250 W = 175 W.",
        ),
        Question(
            "The selector requests 88 W, the throttle 150 W, and at this speed 120 W are allowed. How much "
            "does the motor give?",
            "The larger request counts, 150 W; the motor gives no more than the allowed 120 W.",
        ),
        Question(
            "The wheel has a circumference of 1.89 m and gives six pulses per turn. How far does it roll "
            "from pulse to pulse, and how many pulses per second are there at 25 km/h?",
            "1.89 m / 6 = 0.315 m; 25 / 3.6 = 6.94 m/s, so 22 pulses per second.",
        ),
        Question(
            "Why is a place profile only a starting point?",
            "It was taken from a public text on a certain date. Laws change, and towns and paths have their "
            "own rules.",
        ),
    ),
    solutions=({"position": 4, "throttle_percent": 100, "pedalling": False, "place": "us_federal"},),
)
