"""A recorder's data, column by column, before any rule is applied."""

from dataclasses import dataclass, field

from host_sim.errors import RequestError

COLUMNS = ("elapsed_s", "cadence_rpm", "rider_power_w", "speed_m_per_s", "altitude_m")
REQUIRED = COLUMNS[:3]
VALUES = (*COLUMNS[1:], "battery_w")  # Battery power is known from a board only.
# Lowest and highest plausible value, and its unit. Cadence: 0 to 200 rpm is plausible, 130 rpm for long
# is rare (the rides in host_sim/recordings). Power: 2137 W is the highest within one turn that Martin, Wagner
# and Coyle measured (Med. Sci. Sports Exerc. 1997, 29:1505). The others are round numbers beyond any ride.
LIMITS = {
    "elapsed_s": (0.0, 10_000_000.0, "s"),
    "cadence_rpm": (0.0, 200.0, "rpm"),
    "rider_power_w": (0.0, 2500.0, "W"),
    "speed_m_per_s": (0.0, 40.0, "m/s"),
    "altitude_m": (-500.0, 9000.0, "m"),
    "battery_w": (0.0, 10_000.0, "W"),
}


@dataclass(slots=True)
class RideRecords:
    """Lists of equal length; None where the recorder had no value. `elapsed_s` never falls."""

    elapsed_s: list[float] = field(default_factory=list)
    cadence_rpm: list[float | None] = field(default_factory=list)
    rider_power_w: list[float | None] = field(default_factory=list)
    speed_m_per_s: list[float | None] = field(default_factory=list)
    altitude_m: list[float | None] = field(default_factory=list)
    battery_w: list[float | None] = field(default_factory=list)

    def add(self, elapsed_s: float, values: dict[str, float | None]) -> None:
        """Append one record; a column that `values` does not have is empty in it."""
        self.elapsed_s.append(elapsed_s)
        for name in VALUES:
            getattr(self, name).append(values.get(name))

    def check_not_empty(self, file_name: str) -> None:
        """Raise RequestError unless there are two records, and speed or both cadence and power among them."""
        if len(self.elapsed_s) < 2:
            raise RequestError(f"{file_name}: it has {len(self.elapsed_s)} records, allowed is 2 or more")
        unpowered = all(value is None for value in self.rider_power_w)
        if unpowered and any(value is not None for value in self.speed_m_per_s):
            return  # What is missing is estimated from the speed.
        for name, values in (("cadence_rpm", self.cadence_rpm), ("rider_power_w", self.rider_power_w)):
            if all(value is None for value in values):
                raise RequestError(
                    f"{file_name}: no record holds {name}, a ride needs {' and '.join(REQUIRED[1:])}"
                )
