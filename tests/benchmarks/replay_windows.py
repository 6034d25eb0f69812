"""How soon a replay that begins in the middle of a ride agrees with the board: many windows of 20 s.

uv run python -m tests.benchmarks.replay_windows
"""

from random import Random

from host_sim.bench.recording import read_recording
from host_sim.bench.script import CourseScript, RecordingScript
from host_sim.bikes.load import load_bike
from host_sim.replay.log_file import Section
from tests.bench_log import ridden_section
from tests.rules.campaign_rides import random_case
from tests.unit.test_replay_middle import BIKES, replayed, window


def attack_windows(name: str, seconds: float = 900.0) -> list[tuple[int | None, int]]:
    """Return of 39 windows of a long ride after how many steps each agrees, and how often it differed."""
    script = RecordingScript(read_recording("road_ride_b"))
    section = ridden_section(load_bike(name), script, seconds, seed=3)
    found = []
    for number in range(1, 40):
        first = section.blocks[number * len(section.blocks) // 41].step
        one = replayed(window(section, first))
        agrees = one.agrees_from if one.parting is None else None
        found.append((None if agrees is None else agrees - first, one.put_right))
    return found


def attack_random(number: int) -> str:
    """Return what comes of the rest of a random ride, from a random block on; nothing if it is too short."""
    case = random_case(number)
    section = ridden_section(case.bike, CourseScript(case.course), case.course.seconds, number)
    if len(section.blocks) < 8:
        return ""
    kept = section.blocks[Random(number).randrange(1, len(section.blocks) - 1) :]
    found = replayed(Section(section.board, section.form, section.settings, True, kept))
    if found.parting is not None:
        return f"ride {number} parts {found.parting.sentence()}"
    return "agrees" if found.agrees_from is not None else f"ride {number} does not settle"


if __name__ == "__main__":
    for bike_name in BIKES:
        results = attack_windows(bike_name)
        steps = sorted(agrees for agrees, _ in results if agrees is not None)
        median = steps[len(steps) // 2]
        print(f"{bike_name}: {len(steps)} of {len(results)} agree, after {median} steps, at most {steps[-1]}")
    told = [one for one in map(attack_random, range(200)) if one]
    print(f"random rides: {told.count('agrees')} of {len(told)} agree")
    print("\n".join(one for one in told if one != "agrees"))
