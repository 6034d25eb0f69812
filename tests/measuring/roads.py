"""Random bicycles on windy roads: what a sensor would record. Nothing of host_sim is used here.

So neither formula nor integrator of what is tested can hide its own mistake. Forces after Martin, Milliken,
Cobb, McFadden and Coggan, J. Appl. Biomech. 14 (1998) 276: air, rolling, slope, wheel bearings (91 mN and
8.7 mN per m/s), chain efficiency 0.976. Steps are Runge and Kutta's of the second order (midpoint).
"""

from math import atan, cos, exp, pi, sin, sqrt

import numpy as np

G = 9.80665
AROUND_M = 2.1
INERTIA_KG_M2 = 0.2
WHEELS_KG = INERTIA_KG_M2 * (2.0 * pi / AROUND_M) ** 2
AIR_KG_PER_M3 = 1.2
CHAIN = 0.976
GUST_S = 3.0
SPEED_NOISE_M_PER_S = 0.03
RIDE_STEP_S = 0.25


class Truth:
    """The numbers of a bicycle, and the road and the wind."""

    def __init__(self, random):
        self.mass_kg = random.uniform(85.0, 220.0)
        self.crr = random.uniform(0.004, 0.011)
        self.cda_m2 = random.uniform(0.35, 0.8)
        self.wind_m_per_s = random.uniform(-1.5, 1.5)
        self.gust_m_per_s = random.uniform(0.0, 0.5)
        self.grade = random.uniform(-0.002, 0.002)

    def acceleration(self, speed, grade, air_speed, drive_n=0.0):
        """Return the acceleration of the rolling bicycle, m/s2."""
        slope = atan(grade)
        air_n = 0.5 * AIR_KG_PER_M3 * self.cda_m2 * air_speed * abs(air_speed)
        road_n = self.mass_kg * G * (self.crr * cos(slope) + sin(slope))
        return (drive_n - air_n - road_n - 0.091 - 0.0087 * speed) / (self.mass_kg + WHEELS_KG)


class Gusts:
    """Wind that changes at random and lasts for about GUST_S."""

    def __init__(self, random, strength_m_per_s, step_s):
        self._random, self._strength = random, strength_m_per_s
        self._kept = exp(-step_s / GUST_S)
        self.now_m_per_s = random.normal() * strength_m_per_s

    def blow(self):
        fresh = self._strength * sqrt(1.0 - self._kept**2) * self._random.normal()
        self.now_m_per_s = self.now_m_per_s * self._kept + fresh


def coasted(truth, random, sign, step_s=0.1):
    """Return times and speeds of a coast-down from 7.5 to 9.5 m/s, there (sign 1) or back (-1)."""
    speed = random.uniform(7.5, 9.5)
    gusts = Gusts(random, truth.gust_m_per_s, step_s)
    read: list[float] = []
    while speed > 1.0 and len(read) < 2500:
        read.append(round(speed + random.normal() * SPEED_NOISE_M_PER_S, 3))
        wind, grade = sign * truth.wind_m_per_s + gusts.now_m_per_s, sign * truth.grade
        middle = speed + 0.5 * step_s * truth.acceleration(speed, grade, speed + wind)
        speed += step_s * truth.acceleration(middle, grade, middle + wind)
        gusts.blow()
    return np.arange(len(read)) * step_s, np.array(read)


class Course:
    """A course there and back or in a circle, over hills of up to 4 % or none, falling or rising by 0.2 %."""

    def __init__(self, random, net_grade):
        self._net = net_grade
        self._hills = [
            (random.uniform(0.0, 0.02), random.uniform(600.0, 5000.0), random.uniform(0.0, 2.0 * pi))
            for _ in range(2)
        ]
        self._circle = random.random() < 0.5
        self._turns_m = random.uniform(1500.0, 6000.0), random.uniform(0.0, 2.0 * pi)

    def grade(self, way_m):
        return self._net + sum(top * cos(2.0 * pi * way_m / long_m + at) for top, long_m, at in self._hills)

    def height_m(self, way_m):
        hills = (
            top * long_m / (2.0 * pi) * sin(2.0 * pi * way_m / long_m + at) for top, long_m, at in self._hills
        )
        return self._net * way_m + sum(hills)

    def against_wind(self, way_m, whole_m):
        """Return the share of a steady wind that comes from the front, -1 to 1."""
        long_m, at = self._turns_m
        bends = 0.7 * sin(2.0 * pi * way_m / long_m)
        if self._circle:
            return cos(at + 2.0 * pi * way_m / whole_m + bends)
        there = way_m if way_m < 0.5 * whole_m else whole_m - way_m
        heading = at + 0.7 * sin(2.0 * pi * there / long_m)
        return cos(heading) if way_m < 0.5 * whole_m else -cos(heading)


def ridden(truth, random, seconds=5400):
    """Return the columns of a log of an hour and a half, one row a second, with power meter and altimeter.

    The rider pushes harder and less hard for one to five minutes, rests where the bicycle is fast, and brakes
    above 14 m/s. The altimeter measures air pressure: it reads steps of 0.2 m, as those of the recorded rides
    do, has noise, drifts with the weather, and is up to 8 s late (theirs are 4 to 10 s late).
    """
    course = Course(random, truth.grade)
    gusts = Gusts(random, truth.gust_m_per_s, RIDE_STEP_S)
    usual_w = random.uniform(110.0, 200.0) * (truth.mass_kg / 100.0) ** 0.5
    steps = round(1.0 / RIDE_STEP_S)
    # The length of the ride is assumed to be that at 6.5 m/s, and the ride ends there.
    whole_m = 6.5 * seconds
    weather_m, weather_at = random.uniform(0.0, 3.0), random.uniform(0.0, 2.0 * pi)
    speed, way_m, left_s, wanted_w = 5.0, 0.0, 0, usual_w
    rows: list[tuple[float, ...]] = []
    while way_m < whole_m and len(rows) < 2 * seconds:
        if left_s <= 0:
            left_s, wanted_w = int(random.integers(60, 300)), usual_w * random.uniform(0.4, 1.6)
        left_s -= 1
        power_w = 0.0 if speed > 12.5 else wanted_w
        read_w = max(power_w * (1.0 + 0.03 * random.normal()), 0.0)
        way_before_m, height_m = way_m, course.height_m(way_m)
        for _ in range(steps):
            grade = course.grade(way_m)
            wind = truth.wind_m_per_s * course.against_wind(way_m, whole_m) + gusts.now_m_per_s
            gusts.blow()
            brake = 2.0 if speed > 14.0 else 0.0
            drive_n = power_w * CHAIN / max(speed, 1.0)
            gain = truth.acceleration(speed, grade, speed + wind, drive_n) - brake
            middle = max(speed + 0.5 * RIDE_STEP_S * gain, 0.3)
            drive_n = power_w * CHAIN / max(middle, 1.0)
            gain = truth.acceleration(middle, grade, middle + wind, drive_n) - brake
            speed = max(speed + RIDE_STEP_S * gain, 0.3)
            way_m += middle * RIDE_STEP_S
        drift_m = weather_m * sin(2.0 * pi * len(rows) / 5000.0 + weather_at)
        read_m = round((height_m + drift_m + 0.1 * random.normal()) / 0.2) * 0.2
        read_speed = way_m - way_before_m + random.normal() * SPEED_NOISE_M_PER_S
        rows.append((float(len(rows)), max(read_speed, 0.0), read_m, read_w))
    late = int(random.integers(0, 9))
    heights = [row[2] for row in rows]
    late_m = heights[:1] * late + heights
    rows = [(*row[:2], height_m, row[3]) for row, height_m in zip(rows, late_m, strict=False)]
    names = ("time_s", "speed_m_per_s", "altitude_m", "rider_power_w")
    return dict(zip(names, np.array(rows).T, strict=True))
