"""Lesson 'loop' for teachers."""

from host_sim.lab.teaching.description import Question, Teaching

TEACHING = Teaching(
    aims=(
        "read a gain margin from a Nyquist plot",
        "say what the integral does while the command can't follow",
    ),
    minutes=40,
    notes="""
<p>On a roller at 18 km/h the selector jumps from its second position to full. The loop is the firmware's
own, in integers (<code>firmware/drive/power_loop.py</code>), a PI controller: the command is the end of
the motor
controller's dead band, plus the P part (gain times error), plus the I part (the error summed over time).
The power stage is a slow one (lag 0.1 s), so that the eye can follow.</p>
<ol>
<li>Integral time 20 ms, raise the gain: at 12000 the curve passes through −1, and the bench begins to
swing, at the 7 Hz that the curve predicts: gain margin 1. At 16000 it surges for good. Predicted and
ridden agree.</li>
<li>Integral time 120 ms, near the lag: the same gain is calm. The integral no longer pushes while the
stage is on its way.</li>
<li>Gain 5000, integral 50 ms, anti-windup off: the command never reaches its highest value, but the slew
limit (10 V/s) holds it back. Meanwhile the I part counts on, and pays it back as overshoot. With
anti-windup the I part follows the command that really went out.</li>
<li>Very high gain swings in spite of a margin above 1: beyond the curve there are limits, whole
millivolts, and a supply that gives way. A linear model is a promise about small swings only.</li>
</ol>
<p>The step is made at three moments, a third of a wheel pulse and of a control period apart; the slowest rise
and the largest overshoot count. The tests ride every setting against a loop in floating point.</p>
<p>With a board: <code>treadle step BIKE</code> waits for a start on the stand and lays the bench's step over
the one that the board made, with its own gain, integral time and rise rate; <code>--desk</code> needs no
hardware.</p>
<p>The Nyquist plot is the open loop in the complex plane, the Bode plot the same over the frequency. Gain
margin: how often the gain may grow before the curve meets −1. Phase margin: the angle that is left where
the gain is 1. Both are computed from the gain, the lag, the firmware's
smoothing and one control period of delay. Anti-windup off is a loop of this lesson, not of the firmware:
there it can't be switched off. The board is told that its motor is unknown (<code>motor_kind</code> 0):
of a known
one it never commands more than the allowed power needs, which hides much of a bad loop.</p>
""",
    questions=(
        Question(
            "250 W are wanted and 200 W are measured; the gain is 5000 µV/W. How large is the P part?",
            "50 W × 5000 µV/W = 0.25 V.",
        ),
        Question(
            "The integral time is 0.1 s and the error stays at 50 W. By how much does the I part grow in a "
            "second?",
            "The P part in each integral time: 0.25 V / 0.1 s = 2.5 V/s.",
        ),
        Question(
            "At a gain of 5000 µV/W the gain margin is 4. At which gain does the loop begin to surge, and "
            "how many decibels is the margin?",
            "At 4 × 5000 = 20000 µV/W; 20 log 4 = 12 dB.",
        ),
        Question(
            "The slew limit is 10 V/s and the command has to rise by 1.5 V. How long does it take, and what "
            "does the I part do meanwhile without anti-windup?",
            "0.15 s. It counts on although nothing more can go out, and must be counted down again: "
            "overshoot.",
        ),
    ),
    solutions=({"gain_uv_per_w": 5000, "integral_ms": 80, "anti_windup": True},),
)
