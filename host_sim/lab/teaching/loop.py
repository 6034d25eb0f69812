"""Lesson 'loop' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "read a gain margin from a Nyquist plot",
        "explain what the integral does while the command is limited",
    ),
    minutes=40,
    notes="""
<p>On a roller at 18 km/h the selector jumps from its second position to full. The loop is the firmware's own
PI controller, in integers (<code>firmware/drive/power_loop.py</code>). Its command is the end of the motor
controller's dead band, plus the P part (gain times error), plus the I part (the error summed over time).
The power stage is slow (lag 0.1 s), so that you can see each part.</p>
<ol>
<li>Integral time 20 ms, raise the gain: at 12000 the curve passes through −1 (gain margin 1), and the bench
begins to oscillate at the predicted 7 Hz. At 16000 it surges without end. Prediction and simulation
agree.</li>
<li>Integral time 120 ms, near the lag: the same gain is calm. The integral no longer pushes while the power
stage is still responding.</li>
<li>Gain 5000, integral 50 ms, anti-windup off: the command never reaches its highest value, but the slew
limit (10 V/s) holds it back. Meanwhile the I part keeps growing, which causes overshoot. With anti-windup the
I part follows the command that was really sent.</li>
<li>A very high gain oscillates although the margin is above 1: the curve leaves out limits, whole millivolts
and the sag of the supply. A linear model is valid for small signals only.</li>
</ol>
<p>The step is made at three moments, a third of a wheel pulse and of a control period apart; the slowest rise
and the largest overshoot count. The tests compare every setting with a loop in floating point.</p>
<p>With a board: <code>treadle step BIKE</code> waits for a start on the stand and draws the bench's step over
the step of the board, with the board's gain, integral time and rise rate; <code>--desk</code> needs no
hardware.</p>
<p>The Nyquist plot shows the open loop in the complex plane, the Bode plot shows it over frequency. Gain
margin: the factor by which the gain may grow before the curve passes through −1. Phase margin: the angle from
−180° at the frequency where the gain is 1. Both are computed from the gain, the lag, the firmware's
smoothing and one control period of delay. The loop without anti-windup exists in this lesson only; in the
firmware it can't be switched off. In this lesson the motor is set to unknown (<code>motor_kind</code> 0):
with a known motor the firmware never commands more than the allowed power needs, which hides much of a bad
loop.</p>
""",
    questions=(
        Question(
            "The setpoint is 250 W, the measured power 200 W, the gain 5000 µV/W. How large is the P part?",
            "50 W × 5000 µV/W = 0.25 V.",
        ),
        Question(
            "The integral time is 0.1 s and the error stays at 50 W. By how much does the I part grow per "
            "second?",
            "By the P part in each integral time: 0.25 V / 0.1 s = 2.5 V/s.",
        ),
        Question(
            "At a gain of 5000 µV/W the gain margin is 4. At which gain does the loop begin to surge, and "
            "how large is the margin in decibels?",
            "At 4 × 5000 = 20000 µV/W; 20 log 4 = 12 dB.",
        ),
        Question(
            "The slew limit is 10 V/s and the command has to rise by 1.5 V. How long does it take, and what "
            "does the I part do meanwhile without anti-windup?",
            "0.15 s. It keeps growing although the command can't rise faster, and must come down again: "
            "overshoot.",
        ),
    ),
    solutions=({"gain_uv_per_w": 5000, "integral_ms": 80, "anti_windup": True},),
)
