"""Whole rides, recorded on the bench, give the same outputs on every runtime and allocate no memory."""

import pytest

from firmware.guard.faults import CURRENT_MISSING, MOTOR_SILENT, SHUNT_DEAD, WHEEL_LOST
from tests.runtime import cortex
from tests.runtime.kernel_runs import on_cortex, on_cpython
from tests.runtime.kernel_vectors import VectorScript
from tests.runtime.kernels import FOLD, INTEGER_LINES, INTEGER_MODULES
from tests.runtime.runners import CPython, MicroPython32, MicroPython64, ReplayFailed

pytestmark = pytest.mark.long

RUNTIMES = ("CPython", "compiled by mypyc", "MicroPython, 64-bit", "MicroPython, 32-bit")
ON_MICROPYTHON = RUNTIMES[2:]

# Two hundred steps a second while the controller has power: the courses say when that is.
STEPS = {
    "errand": 24_000,  # 120 s
    "thresholds": 34_000,  # 170 s
    "broken_sensor": 22_598,  # 120 s without 4 s and 3 s, and a step less for each of the two starts
    "electrics": 29_400,  # 147 s
    "disturbed": 10_742,  # 66 s, of which 20 s with steps of 12, 60 and 100 ms
    "brown_out": 8_538,  # 44 s without 0.3 s and 1 s
}
WILD_STEPS = 12_000  # 60 lives of 200 steps
BIKES = ("cargo_trike", "folding", "tandem")


def test_the_golden_rides_are_three_bikes_on_six_courses_and_one_that_no_bike_rides(results):
    assert {trace.path.name for trace in results.traces} == {
        f"{bike}-{course}" for bike in BIKES for course in STEPS
    }
    for trace in results.traces:
        assert trace.steps == STEPS[trace.ride.course.name], trace.path.name
    assert results.wild.steps == 12_000
    assert results.steps == 399_834


def test_the_golden_rides_meet_every_state_every_fault_cause_and_every_indicator(results):
    met = set().union(results.wild.met, *[trace.met for trace in results.traces])
    assert {state for state, _, _ in met} == {0, 1, 2, 3, 4, 5}
    # A shunt that reads nothing is found before the highest command is reached. The matrix has the rest.
    assert {cause for _, cause, _ in met} >= set(range(CURRENT_MISSING))
    assert {cause for _, cause, _ in met} >= {WHEEL_LOST, SHUNT_DEAD, MOTOR_SILENT}
    assert {indicator for _, _, indicator in met} == {0, 1, 2, 3}


@pytest.mark.parametrize("title", RUNTIMES)
def test_every_ride_gives_the_recorded_outputs(replayed, results, title):
    rides = replayed(title)
    assert [ride.complaints for ride in rides] == [[]] * 19
    assert [ride.differences for ride in rides] == [0] * 19
    assert [ride.steps for ride in rides] == [trace.steps for trace in [*results.traces, results.wild]]
    assert [ride.edges for ride in rides] == [trace.edges for trace in [*results.traces, results.wild]]
    assert min(ride.edges for ride in rides) > 300


@pytest.mark.parametrize("title", RUNTIMES[1:])
def test_every_ride_comes_to_the_same_number(replayed, title):
    assert [ride.digest for ride in replayed(title)] == [ride.digest for ride in replayed("CPython")]


@pytest.mark.parametrize("title", ON_MICROPYTHON)
def test_no_step_and_no_recorded_edge_takes_memory(replayed, title):
    rides = replayed(title)
    assert sum(ride.steps for ride in rides) == 399_834
    assert [ride.allocations for ride in rides] == [0] * 19


def test_the_rooms_that_fit_a_cortex_m0_count_the_same_there(results):
    if isinstance(results.kernels, str):
        pytest.skip(results.kernels)
    assert {room.name: room.calls for room in results.kernels} == {
        "ticks and integers": 66,
        "slew_limiter": 300,
        "power_loop": 300,
        "crank": 600,
        "wheel": 400,
    }
    assert [room.name for room in results.kernels if not room.equal] == []


def test_the_paths_of_rooms_that_fit_a_cortex_m0_come_to_the_same_there(results):
    if isinstance(results.kernels, str):
        pytest.skip(results.kernels)
    if isinstance(results.vector_file, str):
        pytest.skip(results.vector_file)
    assert {room.name: room.vectors for room in results.kernels} == {
        "ticks and integers": 3,
        "slew_limiter": 15,
        "power_loop": 62,
        "crank": "too little memory for them",
        "wheel": 22,
    }
    assert [room.name for room in results.kernels if not room.vectors_equal] == []


def test_the_paths_of_a_room_are_lines_that_build_it_set_it_and_step_it(tmp_path):
    vectors = tmp_path / "vectors"
    vectors.write_text(
        "slew_limiter|rise=500,fall=5000,command=1000,carry=0,last=0,now=10000,target=3000|command=1005,carry=0\n",
        encoding="ascii",
    )
    script = VectorScript("slew_limiter", ["rise_mv_per_s", "fall_mv_per_s"], vectors)
    assert script.vectors == 1
    assert script.lines == [
        "k=SlewLimiter(1,1,0)",
        "k._rise_mv_per_s=500",
        "k._fall_mv_per_s=5000",
        "k.command_mv=1000",
        "f(k.step(3000,10000))",
        "show_SlewLimiter()",
    ]
    # The command that comes of the step, and the field that keeps it, and a remainder of nothing.
    folded = ((31 + 1005) * 31 + 1005) * 31 + 0
    assert on_cpython([*script.setup, FOLD], script.lines)[-1] == str(folded & 0xFFFFF)
    vectors.write_text(vectors.read_text(encoding="ascii").replace("1005", "1006"), encoding="ascii")
    with pytest.raises(ValueError, match="1006"):
        VectorScript("slew_limiter", [], vectors)


def test_what_a_cortex_m0_prints_of_an_error_is_no_result():
    if cortex.why_missing():
        pytest.skip(cortex.why_missing())
    with cortex.Cortex() as machine:
        assert machine.run("print(2**3)\n") == "8\n"
        with pytest.raises(cortex.CortexFailed, match=r"^NameError: name 'y' is not defined$"):
            machine.run("print(1)\ny\n")
        assert machine.run("print('all ' * 100)\n" + "# long\n" * 100) == "all " * 100 + "\n"


def test_a_cortex_m0_that_counts_otherwise_would_be_noticed():
    if cortex.why_missing():
        pytest.skip(cortex.why_missing())
    lines = INTEGER_LINES[:4]
    expected = on_cpython([FOLD], lines)
    assert on_cortex(INTEGER_MODULES, [FOLD], lines) == expected
    assert on_cortex(INTEGER_MODULES, [FOLD, "def clamp(a, b, c):\n return 1"], lines) != expected


@pytest.mark.parametrize("runtime", [CPython(), MicroPython64(), MicroPython32()], ids=lambda one: one.title)
def test_a_single_output_that_differs_is_found_and_named(results, tmp_path, runtime):
    if runtime.why_missing():
        pytest.skip(runtime.why_missing())
    data = bytearray(results.wild.path.read_bytes())
    settings_bytes = int.from_bytes(data[2:4], "little")
    data[32 + settings_bytes + 31] ^= 1  # The state after the first step.
    tampered = tmp_path / "tampered"
    tampered.write_bytes(data)
    (ride,) = runtime.replay([tampered])
    assert ride.differences == 1
    assert ride.complaints == ["step 1 state is 0 and was recorded as 1"]


@pytest.mark.parametrize("runtime", [CPython(), MicroPython64(), MicroPython32()], ids=lambda one: one.title)
def test_a_trace_cut_short_is_refused(results, tmp_path, runtime):
    if runtime.why_missing():
        pytest.skip(runtime.why_missing())
    cut = tmp_path / "cut"
    cut.write_bytes(results.wild.path.read_bytes()[:-32])
    with pytest.raises(ReplayFailed, match="this is not a complete golden trace: stopped after step 12000"):
        runtime.replay([cut])
