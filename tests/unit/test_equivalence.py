"""Two versions of a method: if they differ, the numbers that show it are found."""

from typing import Any

import pytest

from firmware.decide.pedalling import Pedalling
from firmware.guard.output_guard import OutputGuard
from firmware.settings import TWO_CHANNELS, Settings
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Failure
from tests.mutation.equivalence import check_equivalent
from tests.paths.guard import any_guard


def _wheel_edge(ex: Any) -> tuple[Any, str, tuple[Any, ...]]:
    guard = any_guard(ex, TWO_CHANNELS)
    Inside(guard).wheel_us = ex.integer("last", 0, 1_000)
    return guard, "wheel_edge", (ex.integer("level", 0, 1), ex.integer("time", 1_000, 2_000_000))


def test_a_method_is_equivalent_to_itself():
    assert check_equivalent(_wheel_edge, {"wheel_edge": OutputGuard.wheel_edge}) > 1


def test_another_field_written_is_found():
    def wheel_edge(self: OutputGuard, level: int, time_us: int) -> None:
        OutputGuard.wheel_edge(self, level, time_us)
        if time_us == 1_234_567:
            self._wheel_period_us += 1

    with pytest.raises(Failure, match=r"OutputGuard\._wheel_period_us is the same") as failure:
        check_equivalent(_wheel_edge, {"wheel_edge": wheel_edge})
    assert failure.value.values["time"] == 1_234_567


def test_another_result_is_found():
    def rate(ex: Any) -> tuple[Any, str, tuple[Any, ...]]:
        return Pedalling(Settings({})), "_stop_gap_us", (0, ex.integer("speed", 0, 30_000))

    def changed(self: Pedalling, pitch_us: int, speed_mm_per_s: int) -> int:
        gap_us = Inside(Pedalling).stop_gap_us(self, pitch_us, speed_mm_per_s)
        return gap_us + 1 if speed_mm_per_s == 6_944 else gap_us

    with pytest.raises(Failure, match="what _stop_gap_us returns is the same") as failure:
        check_equivalent(rate, {"_stop_gap_us": changed})
    assert failure.value.values["speed"] == 6_944
