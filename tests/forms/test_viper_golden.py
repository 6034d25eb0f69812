"""Whole rides, recorded with the interpreted controller, give the same outputs from the board form."""

import shutil
import sys
from pathlib import Path

import pytest

from host_sim.forms.viper.firmware import MODULE, fused_firmware
from tests.forms.fused_forms import HERE
from tests.golden_rides import golden_rides, record_all
from tests.micropython_unix import ROOT
from tests.runtime.runners import Replayed, Runtime, micropython_program
from tests.runtime.runners import _run as run_program

pytestmark = [pytest.mark.long, pytest.mark.xdist_group("fused golden rides")]


class Fused(Runtime):
    """The firmware with the generated module in the controller's place."""

    def __init__(self, folder: Path, wide: bool) -> None:
        shutil.copytree(ROOT / "firmware", folder / "firmware", ignore=shutil.ignore_patterns("__pycache__"))
        (folder / MODULE).write_text(fused_firmware(wide).source)
        self._folder = folder
        self._wide = wide

    def _print(self, script: Path, files: list[Path]) -> str:
        if self._wide:
            command = [micropython_program(), "-X", "heapsize=4M", str(script)]
            return run_program(command, "MICROPYPATH", str(self._folder), files)
        path = f"{self._folder}:{HERE / 'stub'}"
        code = f"import sys, runpy, micropython; runpy.run_path({str(script)!r}, run_name='__main__')"
        return run_program([sys.executable, "-P", "-c", code], "PYTHONPATH", path, files)


@pytest.fixture(scope="module")
def traces(tmp_path_factory):
    folder = tmp_path_factory.mktemp("golden")
    return record_all(golden_rides(), folder)


def assert_equal(rides: list[Replayed], traces) -> None:
    assert [ride.complaints for ride in rides] == [[]] * 18
    assert sum(ride.differences for ride in rides) == 0
    assert [ride.steps for ride in rides] == [trace.steps for trace in traces]


def test_every_golden_ride_is_equal_on_cpython(traces, tmp_path):
    assert_equal(Fused(tmp_path, wide=False).replay([trace.path for trace in traces]), traces)


def test_every_golden_ride_is_equal_on_micropython_and_no_step_takes_memory(traces, tmp_path):
    if not micropython_program():
        pytest.skip("there is no micropython for this machine")
    rides = Fused(tmp_path, wide=True).replay([trace.path for trace in traces])
    assert_equal(rides, traces)
    assert sum(ride.allocations for ride in rides) == 0
