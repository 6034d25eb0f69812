"""Lesson 'levers' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "tell what is asked for from what is allowed",
        "read a place profile as a starting point, not as the law",
    ),
    minutes=20,
    notes="""
<p>A roller turns the wheel from standing to 36 km/h while hands and legs stay as they are. Asked for is the
larger of assist power times the selector's share, and the throttle; allowed is the least of the power
limit and the fades.</p>
<ol>
<li>Pedalling, position 1 to 4: the height changes, the cut-off speed does not.</li>
<li>Not pedalling, throttle fully open: in one place a push to walking pace, in another nothing, in a
third all the way.</li>
<li>New South Wales: the power falls from 6 km/h on. The taper is a straight line, so that no ceiling
makes a step.</li>
<li>Pedalling with position 1 and the throttle open: the throttle asks while the legs allow.</li>
</ol>
<p><strong>The profiles are starting points only: check your local code.</strong> They are read from
public texts with a
date, laws change, and towns and paths have rules of their own (<code>host_sim/places/places.toml</code>
has the
sources).</p>
<p>To discuss: the power stays some 1 % above the limit while the roller gets faster. Why? (The power loop
follows a back-EMF that rises; a PI loop lags behind a ramp. The law's limit is one on continuous power.)
Why does help end within 0.2 km/h of the speed that is set, but not exactly there? (The speed is known a
wheel pulse late, and less than 20 W are not counted as help here.) Why is it set to end below 25
km/h in the United Kingdom and in Australia, but not in the European Union? (Some texts know no tolerance
in measuring; the setting leaves room for the pulse that comes late.)</p>
""",
    questions=(
        Question(
            "The assist power is 250 W and the selector's third position is 70 %. How much does the selector "
            "ask for?",
            "0.7 × 250 W = 175 W.",
        ),
        Question(
            "The selector asks for 88 W, the throttle for 150 W, and at this speed 120 W are allowed. How "
            "much is given?",
            "Asked for is the larger, 150 W; given is no more than what is allowed, 120 W.",
        ),
        Question(
            "The wheel is 1.89 m around and gives six pulses a turn. How far does it roll from pulse to "
            "pulse, and how many pulses come in a second at 25 km/h?",
            "1.89 m / 6 = 0.315 m; 25 / KM_PER_H_PER_M_PER_S = 6.94 m/s, so 22 pulses a second.",
        ),
        Question(
            "Why is a place profile no more than a starting point?",
            "It was read from a public text at a date. Laws change, and towns and paths have rules of their "
            "own.",
        ),
    ),
    solutions=({"position": 4, "throttle_percent": 100, "pedalling": False, "place": "us_federal"},),
)
