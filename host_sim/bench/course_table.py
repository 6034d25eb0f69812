"""The format of a course file: keys, units in their names, allowed ranges."""

from typing import Any, Literal

from pydantic import Field

from host_sim.bench.faults import FaultSpec
from host_sim.tomlfile import Table, within

SECONDS_MAX = 86_400


class FaultTable(Table):
    """One fault during a stretch; the bench's FAULTS say which other keys it needs."""

    name: str = Field(min_length=1, max_length=60)
    channel: Literal["A", "B"] | None = None
    magnet: int | None = Field(default=None, ge=1, le=64)
    strength: float | None = Field(default=None, ge=0, le=1)
    per_s: float | None = Field(default=None, ge=0, le=5000)
    stall_ms: int | None = Field(default=None, ge=1, le=60_000)
    percent: float | None = Field(default=None, ge=0, le=400)
    amps: float | None = Field(default=None, ge=0, le=40)
    seconds: float | None = Field(default=None, ge=-500, le=500)
    pulse_ms: float | None = Field(default=None, ge=0.01, le=1000)
    cut_ms: int | None = Field(default=None, ge=1, le=60_000)
    km_per_h: float | None = Field(default=None, ge=0, le=60)

    def keys(self) -> dict[str, Any]:
        """Return the keys given in addition to the name."""
        return self.model_dump(exclude={"name"}, exclude_none=True)

    def as_spec(self) -> FaultSpec:
        """Return the fault in the bench's own form."""
        return FaultSpec(self.name, **self.keys())


class StretchTable(Table):
    """One [[stretch]] as in the file; a key that is absent is None."""

    at_s: float = within(0, SECONDS_MAX)
    over_s: float = within(0, SECONDS_MAX, default=0)
    cadence_rpm: float | None = Field(default=None, ge=-150, le=200)
    effort_w: float | None = Field(default=None, ge=0, le=2000)
    gear_m: float | None = Field(default=None, ge=0, le=12)
    grade_percent: float | None = Field(default=None, ge=-25, le=25)
    wind_m_per_s: float | None = Field(default=None, ge=-30, le=30)
    throttle_percent: float | None = Field(default=None, ge=0, le=100)
    selector_percent: float | None = Field(default=None, ge=0, le=100)
    selector_position: int | None = Field(default=None, ge=1, le=6)
    crank_free: bool | None = None
    roller_km_per_h: float | None = Field(default=None, ge=0, le=120)
    charge_percent: float | None = Field(default=None, ge=0, le=100)
    motor_celsius: float | None = Field(default=None, ge=-40, le=250)
    brake: bool | None = None
    power_switch: bool | None = None
    fault: list[FaultTable] | None = Field(default=None, max_length=16)


class CourseTable(Table):
    """A course file, not yet resolved."""

    title: str = Field(min_length=1, max_length=100)
    seconds: float = within(1, SECONDS_MAX)
    stretch: list[StretchTable] = Field(min_length=1, max_length=10_000)
