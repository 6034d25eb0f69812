"""The own loop for teachers: aims, notes, and a controller that keeps all three rules."""

from host_sim.lab.own_loop import START_CODE

AIMS = (
    "write a rule as a few lines of code, and see what it does on a ride",
    "find out that each rule holds by a line of its own, and that three rules are no proof",
)
MINUTES = 45
NOTES = """
<p>The controller is asked every 5 ms of simulated time. It sees how many edges of the pedal sensor came
since then (40 in a turn of the crank) and whether a brake lever is pulled. It answers with the voltage
for the motor controller, in mV. As it stands it waits a whole second before it believes that the legs
have stopped, and it does not look at the brake.</p>
<ol>
<li>Ride it as it stands. Which rules break, and which line is the reason?</li>
<li>Make the wait shorter. How short may it be, before slow legs look like a stop? Try 10 steps.</li>
<li>Add the brake. Where must the line stand, so that it acts at once?</li>
<li>Break it on purpose: a missing colon, a misspelt name, a loop that never ends. What does
the page say?</li>
</ol>
<p>To discuss: what does this controller not know? (The speed: nothing ends its help at 25 km/h. The
direction: backward counts as forward. The power: on this ride it gives more than twice what is allowed.
A failed sensor: silence looks like a stop, noise like pedalling.) The firmware answers each of these,
and is held against many more rules.</p>
"""
SOLUTION = START_CODE.replace("if quiet < 200:", "if quiet < 40 and not brake:")
