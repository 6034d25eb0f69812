"""A number that was measured is called a guess no more, and how to measure it stays beside it."""

from host_sim.bikes.guess_marks import without_guess_marks
from host_sim.bikes.load import load_bike
from host_sim.capture.bike_file import write_changes
from host_sim.measuring.bike_numbers import write_numbers
from host_sim.measuring.estimate import Estimate
from tests.unit.test_new import LONGTAIL

TEXT = """\
[battery]
# Full. Allowed: 20 to 62 (V).
# GUESS. Hold a meter to it
# when it is full.
full_v = 54.6

# GUESS. From its label.
capacity_ah = 13

[motor]
# GUESS. Of another full_v.
full_v = 1
"""


def test_the_mark_goes_above_that_key_of_that_section_alone():
    assert without_guess_marks(TEXT, {"battery.full_v"}) == TEXT.replace(
        "# GUESS. Hold a meter", "# Hold a meter"
    )
    assert without_guess_marks(TEXT, {"motor.full_v", "battery.nosuch"}) == TEXT.replace(
        "# GUESS. Of another", "# Of another"
    )
    assert without_guess_marks(TEXT, set()) == TEXT


def test_measure_and_inspect_take_the_marks_of_what_they_write(treadle, here):
    treadle("new", "mine", *LONGTAIL)
    path = here / "mine.toml"
    before = path.read_text(encoding="utf-8").count("GUESS. ")
    write_numbers(path, {"wheel_circumference_m": (Estimate(2.1, 0.01, "m"), "3 pushes")})
    write_changes(path, {"duty_percent": 48.0, "wheel_sensor.pulses_per_rev": 6})
    after = path.read_text(encoding="utf-8")
    assert after.count("GUESS. ") == before - 3
    assert "# Roll three turns with the rider on it, divide" in after
    assert load_bike(path).wheel_sensor.pulses_per_rev == 6
