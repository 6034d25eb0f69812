"""The own loop for teachers: aims, notes, and a controller that meets all three rules."""

from host_sim.lab.own_loop import START_CODE

AIMS = (
    "write a rule as a few lines of code, and see what it does on a ride",
    "find out that each rule needs its own line, and that three rules prove nothing",
)
MINUTES = 45
NOTES = """
<p>The controller is called every 5 ms of simulated time. It receives the number of pedal sensor edges since
the last call (40 in a turn of the crank) and whether a brake lever is pulled. It returns the voltage
for the motor controller, in mV. The first version waits a whole second before it takes pedalling as stopped,
and it ignores the brake.</p>
<ol>
<li>Ride it without changes. Which rules fail, and which line is the reason?</li>
<li>Make the wait shorter. How short can it be before slow pedalling looks like a stop? Try 10 steps.</li>
<li>Add the brake. Where must the line go so that it acts at once?</li>
<li>Break it on purpose: a missing colon, a misspelt name, a loop that never ends. What does
the page say?</li>
</ol>
<p>To discuss: what does this controller not know? (The speed: nothing ends its help at 25 km/h. The
direction: backward counts as forward. The power: on this ride it gives more than twice the allowed power.
A failed sensor: silence looks like a stop, noise like pedalling.) The firmware handles each of these,
and is checked against many more rules.</p>
"""
SOLUTION = START_CODE.replace("if quiet < 200:", "if quiet < 40 and not brake:")
