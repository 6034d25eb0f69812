"""Recordings, recorded and random, ridden to their end: the speed that is left, and how the crank turned."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from host_sim.bench.assemble import bench_for, bicycle_of
from host_sim.bench.recorded_effort import Road
from host_sim.bench.recording import RECORDINGS, read_recording
from host_sim.bench.script import LEAD_IN_S, RecordingScript
from host_sim.bench.world import PlantWatch
from host_sim.bikes.load import load_bike

ALL = ("elapsed_s", "cadence_rpm", "rider_power_w", "speed_m_per_s", "altitude_m")
SPEED_ALONE = ("elapsed_s", "speed_m_per_s")
NO_METER = ("elapsed_s", "cadence_rpm", "speed_m_per_s", "altitude_m")


@dataclass(frozen=True, slots=True)
class Ridden:
    """The result of one ride, plain numbers so that it travels between processes.

    `rolling_at_rest` are the seconds after three in which the recording stood, and in which the bench rolls;
    `crank_too_fast_m_per_s` is by how much the crank in the lowest gear ran ahead of the wheel at most, and
    `slack_force_n` the greatest force of a crank slower than the wheel in the highest gear.
    """

    end_m_per_s: float
    distance_m: float
    rider_wh: float
    engagements: int
    faults: list[str]
    rolling_at_rest: list[int]
    crank_too_fast_m_per_s: float
    slack_force_n: float
    turned_rev: float


class _Eyes(PlantWatch):
    def __init__(self, bike, recording):
        self.low_m, self.high_m = bike.bicycle.development_low_m, bike.bicycle.development_high_m
        self.standing = recording.standing
        self.crank_too_fast = self.slack_force = -math.inf
        self.rolling = set()

    def passed(self, world, elapsed_s):
        speed = world.bicycle.speed_m_per_s
        rider = world.rider
        crank_per_s = rider.crank_rad_per_s / (2.0 * math.pi)
        # The crank was moved by the speed before this step, which at most changes by 12 m/s2 in 5 ms.
        self.crank_too_fast = max(self.crank_too_fast, crank_per_s * self.low_m - speed)
        # Legs that catch up with the wheel are up to 0.15 rad/s slower within a step: nothing from 1 m/s on.
        if rider.delivered_power_w > 0.0 and speed > 1.0 and crank_per_s * self.high_m < 0.8 * speed:
            self.slack_force = max(self.slack_force, rider.delivered_power_w / speed)
        second = (world.now_us - round(elapsed_s * 1e6)) // 1_000_000 - LEAD_IN_S
        if second >= 3 and all(self.standing[second - 3 : second + 1]) and speed > 0.0:
            self.rolling.add(second)


def ridden(job: tuple[str, str]) -> Ridden:
    """Ride a recording, a file or a name, on a bike to its end."""
    bike_name, recording_name = job
    bike = load_bike(bike_name)
    recording = read_recording(recording_name, Road(bicycle_of(bike), bike.rider.riders))
    bench = bench_for(bike, 1)
    eyes = _Eyes(bike, recording)
    bench.world.watch_plant(eyes)
    script = RecordingScript(recording)
    bench.ride(script, script.seconds)
    world = bench.world
    return Ridden(
        world.bicycle.speed_m_per_s,
        world.bicycle.distance_m,
        world.rider_j / 3600.0,
        bench.meter.engagements,
        list(bench.meter.faults),
        sorted(eyes.rolling),
        eyes.crank_too_fast,
        eyes.slack_force,
        world.rider.crank_rad / (2.0 * math.pi),
    )


def reduced(name: str, columns: tuple[str, ...], folder: Path) -> str:
    """Write a recorded ride with these columns only, and return its path."""
    lines = (RECORDINGS / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    header = lines[0].split(",")
    places = [header.index(column) for column in columns]
    path = folder / f"{name}_{len(columns)}.csv"
    rows = [",".join(line.split(",")[place] for place in places) for line in lines]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return str(path)


def random_recording(seed: int, columns: tuple[str, ...], folder: Path) -> str:
    """Write a ride of two minutes that ends at rest: hills to 12 %, sprints, hard stops, gaps in the record.

    Whoever rode it was unkind: pedals turn at a standstill, power comes from nowhere, the last stop takes
    one to six seconds from up to 14 m/s.
    """
    random = np.random.default_rng(seed)
    knots = np.cumsum(random.uniform(2.0, 15.0, 12))
    speeds = random.uniform(0.0, 14.0, 12) * (random.random(12) > 0.25)
    stop_s = random.uniform(1.0, 6.0)
    at_s = np.concatenate(([0.0], knots, [knots[-1] + stop_s, knots[-1] + stop_s + random.uniform(0.0, 5.0)]))
    seconds = int(at_s[-1]) + 2
    speed = np.interp(np.arange(seconds), at_s, [0.0, *speeds, 0.0, 0.0])
    speed[-1] = 0.0
    height = 200.0 + np.cumsum(speed * random.uniform(-0.12, 0.12))
    rows = []
    for second in range(seconds):
        if random.random() < 0.02 and 3 < second < seconds - 3:
            continue
        values = {
            "elapsed_s": f"{second}",
            "cadence_rpm": f"{random.choice([0, 50, 90, 130])}",
            "rider_power_w": f"{random.choice([0, 0, 100, 400, 900])}",
            "speed_m_per_s": f"{speed[second]:.3f}" if random.random() > 0.02 or second > seconds - 3 else "",
            "altitude_m": f"{height[second]:.1f}",
        }
        rows.append(",".join(values[column] for column in columns))
    path = folder / f"random_{seed}_{len(columns)}.csv"
    path.write_text("\n".join([",".join(columns), *rows]) + "\n", encoding="utf-8")
    return str(path)
