"""The program from the user's view: what it prints, its exit code, and the files it leaves."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from host_sim.bench.ride_progress import ProgressWatch
from host_sim.bikes.load import BIKES
from host_sim.cli.compare import compare
from host_sim.cli.measure_logs import MeasureRequest, measure
from host_sim.cli.program import app
from host_sim.cli.verify import VerifyRequest, verify
from host_sim.cli.verify_faults import FaultsRequest, verify_faults
from host_sim.errors import RequestError
from host_sim.outputs import Delivery

KEYS = [
    "bike",
    "ride",
    "seed",
    "simulated_s",
    "wall_s",
    "distance_m",
    "rider_wh",
    "assist_wh",
    "engagements",
    "first_assist_s",
    "longest_run_on_s",
    "longest_cutoff_distance_m",
    "max_command_mv",
    "faults",
    "files",
]
FILES = ["edges.csv", "ride.png", "trace.csv"]
PROGRAM = [sys.executable, "-c", "from host_sim.cli import main; main()"]
ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}


@pytest.fixture
def undrawn(monkeypatch):
    """Leave the picture, which has its own tests, as an empty file."""
    monkeypatch.setattr(
        "host_sim.report.ride_figure.draw_ride", lambda _, __, path: path.write_bytes(b"picture")
    )


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_without_arguments_the_trike_rides_a_recording_into_a_new_folder(treadle, here):
    code, out, err = treadle("ride", "--seconds", "30")
    assert (code, err) == (0, "")
    assert "cargo_trike, road_ride_a, 1" in out
    for words in (
        "first assistance",
        "longest run-on",
        "longest cut-off distance",
        "highest command voltage",
    ):
        assert words in out
    assert _names(here) == ["treadle-ride"]
    assert _names(here / "treadle-ride") == FILES
    assert (here / "treadle-ride" / "ride.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("bike", ["cargo_trike", "tandem", "folding"])
def test_json_is_one_object_with_exactly_these_keys(treadle, here, bike):
    code, out, err = treadle("ride", bike, "--course", "errand", "--seconds", "8", "--seed", "7", "--json")
    assert (code, err) == (0, "")
    assert out.count("\n") == 1
    numbers = json.loads(out)
    assert list(numbers) == KEYS
    assert [numbers[key] for key in ("bike", "ride", "seed", "simulated_s")] == [bike, "errand", 7, 8.0]
    assert numbers["engagements"] == 1
    assert 4.0 < numbers["first_assist_s"] < 8.0
    assert numbers["distance_m"] > 1.0
    assert 1000 < numbers["max_command_mv"] <= 3800
    assert numbers["faults"] == []
    assert [Path(name).name for name in numbers["files"]] == ["trace.csv", "edges.csv", "ride.png"]
    assert all(Path(name).is_file() for name in numbers["files"])


@pytest.mark.usefixtures("undrawn")
def test_a_ride_without_help_has_no_first_assistance(treadle, here):
    _, out, _ = treadle("ride", "--seconds", "2", "--json")
    assert json.loads(out)["first_assist_s"] is None
    _, out, _ = treadle("ride", "--seconds", "2")
    assert "none" in out


@pytest.mark.usefixtures("undrawn")
def test_a_second_run_takes_a_second_folder(treadle, here):
    for _ in range(3):
        assert treadle("ride", "--seconds", "1")[0] == 0
    assert _names(here) == ["treadle-ride", "treadle-ride-2", "treadle-ride-3"]


@pytest.mark.usefixtures("undrawn")
def test_an_existing_file_is_replaced_only_by_force(treadle, here):
    assert treadle("ride", "--seconds", "1", "--out", "mine")[0] == 0
    (here / "mine" / "ride.png").write_text("precious", encoding="utf-8")
    code, out, err = treadle("ride", "--seconds", "1", "--out", "mine")
    assert (code, out) == (2, "")
    assert err == "treadle: mine/trace.csv exists already, allowed is another --out, or --force\n"
    assert (here / "mine" / "ride.png").read_text(encoding="utf-8") == "precious"
    assert treadle("ride", "--seconds", "1", "--out", "mine", "--force")[0] == 0
    assert (here / "mine" / "ride.png").read_text(encoding="utf-8") == "picture"


WRONG = {
    ("nosuch",): "no bike is called 'nosuch'",
    ("--seconds", "0"): "--seconds is 0, allowed is 1 to",
    ("--seconds", "-1"): "--seconds is -1, allowed is 1 to",
    ("--seconds", "nan"): "--seconds is nan, allowed is 1 to",
    ("--seconds", "inf"): "--seconds is inf, allowed is 1 to",
    ("--seconds", "1e9"): "--seconds is 1e+09, allowed is 1 to",
    ("--seconds", "soon"): "--seconds is 'soon', allowed is a number of seconds",
    ("--seed", "-1"): "--seed is '-1', allowed is a whole number from 0 to 4294967295",
    ("--seed", "4294967296"): "--seed is '4294967296', allowed is a whole number from 0 to 4294967295",
    ("--seed", "1.5"): "--seed is '1.5', allowed is a whole number",
    ("--seed", "nan"): "--seed is 'nan', allowed is a whole number",
    ("--seed", "x"): "--seed is 'x', allowed is a whole number",
    ("--recording", "road_ride_a", "--course", "errand"): "--recording and --course are both given",
    ("--recording", "gone.csv"): "gone.csv",
    ("--recording", "ride.txt"): "ride.txt",
    ("--course", "gone.toml"): "gone.toml: there is no such file",
    ("--course", "nosuch"): "no course is called 'nosuch'",
    ("folder.toml",): "folder.toml: this is a directory, allowed is a file",
    ("broken.toml",): "broken.toml: this is not TOML",
    ("wrong.toml",): "wrong.toml: motor.resistance_ohm is -1, allowed is 0.01 to 5",
    ("--out", "a_file"): "a_file can't be written",
    ("--out", "a_file/below"): "a_file/below can't be written",
    ("--out", "/proc/nowhere"): "/proc/nowhere can't be written",
    ("--unknown",): "--unknown",
    ("folding", "tandem"): "tandem",
    ("--seconds",): "--seconds",
}


@pytest.mark.parametrize("arguments", WRONG, ids=" ".join)
def test_a_wrong_request_ends_in_one_sentence_and_exit_code_2(treadle, here, arguments):
    (here / "folder.toml").mkdir()
    (here / "broken.toml").write_text("title = \n", encoding="utf-8")
    trike = (ROOT / "host_sim" / "bikes" / "cargo_trike.toml").read_text(encoding="utf-8")
    wrong = trike.replace("resistance_ohm = 0.28", "resistance_ohm = -1")
    (here / "wrong.toml").write_text(wrong, encoding="utf-8")
    (here / "a_file").write_text("mine", encoding="utf-8")
    (here / "ride.txt").write_text("", encoding="utf-8")
    before = _names(here)
    code, out, err = treadle("ride", *arguments)
    assert (code, out) == (2, "")
    assert err.startswith("treadle: ")
    assert err.count("\n") == 1
    assert WRONG[arguments] in err
    assert "Traceback" not in err
    assert _names(here) == before


def test_an_unknown_command_is_refused_in_one_sentence(treadle):
    code, out, err = treadle("fly")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "fly" in err


def test_without_a_command_the_help_is_shown(treadle):
    code, out, err = treadle()
    assert code == 2
    assert "ride" in out + err


def test_help_has_an_example(treadle):
    code, out, _ = treadle("ride", "--help")
    assert code == 0
    assert "treadle ride folding --course errand --seed 7" in " ".join(out.split())


@pytest.mark.usefixtures("undrawn")
def test_names_with_brackets_are_printed_as_they_are(treadle, here):
    code, out, err = treadle("ride", "--seconds", "1", "--out", "[red]a[bold] :smile:")
    assert (code, err) == (0, "")
    assert "[red]a[bold] :smile:/trace.csv" in out


@pytest.mark.usefixtures("undrawn")
def test_a_long_path_is_printed_in_one_piece(treadle, here):
    folder = "/".join(["a_folder_with_a_long_name"] * 6)
    Path(folder).parent.mkdir(parents=True)
    _, out, _ = treadle("ride", "--seconds", "1", "--out", folder)
    assert f"{folder}/ride.png" in out


@pytest.mark.usefixtures("undrawn")
def test_a_ride_that_is_interrupted_leaves_nothing_and_ends_with_130(treadle, here, monkeypatch):
    def interrupt(*_: object) -> None:
        assert any(name.startswith(".unfinished-") for name in _names(here / "new"))
        raise KeyboardInterrupt

    monkeypatch.setattr("host_sim.bench.meter.Meter.look", interrupt)
    code, out, err = treadle("ride", "--out", "new")
    assert (code, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert _names(here) == []


@pytest.mark.long
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_half_way_leaves_nothing_and_ends_with_130(here, number):
    program = subprocess.Popen(
        [*PROGRAM, "ride", "tandem", "--out", "new"],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not any(path.stat().st_size for path in here.glob("new/.unfinished-*/trace.csv")):
        assert program.poll() is None  # It is loading; the ride that follows takes many seconds.
    program.send_signal(number)
    out, err = program.communicate(timeout=60)
    assert (program.returncode, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert _names(here) == []


@pytest.mark.long
@pytest.mark.parametrize("more", [0, 1, 3])
def test_signals_at_the_moment_the_folder_appears_leave_nothing_however_many_come(here, more):
    program = subprocess.Popen(
        [*PROGRAM, "ride", "tandem", "--out", "new"],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not _names(here):
        assert program.poll() is None
    for _ in range(1 + more):
        program.send_signal(signal.SIGTERM)
    out, err = program.communicate(timeout=60)
    assert (program.returncode, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert _names(here) == []


@pytest.mark.long
def test_a_reader_that_leaves_early_gets_no_traceback(here):
    program = subprocess.Popen(
        [*PROGRAM, "ride", "--seconds", "1"],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert program.stdout is not None
    program.stdout.close()
    assert program.stderr is not None
    assert program.stderr.read() == ""
    program.stderr.close()
    assert program.wait(timeout=60) in (0, 1)
    assert _names(here / "treadle-ride") == FILES


class _Bar:
    def __init__(self) -> None:
        self.completed: list[float] = []

    def add_task(self, text: str, total: float) -> int:
        return 0

    def update(self, task: int, completed: float) -> None:
        self.completed.append(completed)


def test_progress_moves_on_every_thousand_steps():
    bar = _Bar()
    watch = ProgressWatch(bar, "riding", 20.0)
    world = type("World", (), {"now_us": 0})()
    watch.begin(world, None)
    for step in range(2_500):
        world.now_us = step * 5_000
        watch.look(None)
    assert bar.completed == [4.995, 9.995]


WITHOUT_A_RESULT = {
    ("ride", "nosuch"): "no bike is called 'nosuch'",
    ("ride", "--nosuch"): "No such option: --nosuch",
    ("ride", "--seed", "x"): "--seed is 'x', allowed is a whole number",
    ("verify", "--rule", "stop tine"): "did you mean stop time?",
    ("tune", "--priority", "clam"): "did you mean calm?",
    ("sweep", "--vary", "rise_mv_per=1:2:3"): "did you mean",
    ("inspect", "nosuch.vcd"): "nosuch.vcd: there is no such file",
    ("bundle", "--board", "rpi_pic"): "did you mean rpi_pico?",
    ("flash", "--board", "desk"): "--out is missing, allowed is --out with the folder to make",
    ("handover", "--verify", "nosuch.json"): "nosuch.json",
    ("watch", "--port", "/dev/nosuch"): "which does not exist",
    ("prove", "--property", "stpo"): "did you mean stop?",
    ("new", "x"): "--place are missing",
    ("measure", "tandm"): "no bike is called 'tandm'",
    ("compare", "tandm", "nosuch.steps"): "no bike is called 'tandm'",
    ("calibrate", "tandem", "--by", "Ada"): "BIKE is the example tandem, allowed is a bike file of your own",
    ("commission", "tandem", "--by", "Ada", "--skip", "restrat"): "did you mean restart?",
    ("commission", "tandem"): "Missing option '--by'",
    ("step", "tandm"): "no bike is called 'tandm'",
    ("lab", "--nosuch"): "No such option: --nosuch",
}


def test_every_command_has_an_error_told_as_json():
    assert {words[0] for words in WITHOUT_A_RESULT} == set(typer.main.get_command(app).commands)


@pytest.mark.parametrize("words", WITHOUT_A_RESULT, ids=" ".join)
def test_with_json_an_error_is_one_json_object_on_standard_output(treadle, here, words):
    code, out, err = treadle(*words, "--json")
    assert (code, err) == (2, "")
    assert out.count("\n") == 1
    said = json.loads(out)
    assert list(said) == ["error", "exit_code"]
    assert said["exit_code"] == 2
    assert WITHOUT_A_RESULT[words] in said["error"]
    assert _names(here) == []


@pytest.mark.usefixtures("undrawn")
def test_with_json_an_interruption_is_told_as_json_too(treadle, here, monkeypatch):
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("host_sim.bench.meter.Meter.look", interrupt)
    code, out, err = treadle("ride", "--json")
    assert (code, err) == (130, "")
    assert json.loads(out) == {"error": "interrupted, nothing was written", "exit_code": 130}


PARENTS = {
    ("ride", "--out", "no/results"): "no/results",
    ("ride", "--capture", "no/crank.vcd"): "no/crank.vcd",
    ("verify", "--out", "no/results"): "no/results",
    ("verify", "--faults", "--out", "no/results"): "no/results",
    ("tune", "--out", "no/results"): "no/results",
    ("tune", "--write", "no/bike.toml"): "no/bike.toml",
    ("sweep", "--vary", "rise_mv_per_s=200:400:2", "--out", "no/folder/sweep.csv"): "no/folder/sweep.csv",
    ("bundle", "--board", "desk", "--out", "no/bundle"): "no/bundle",
    ("flash", "--board", "desk", "--out", "no/bundle"): "no/bundle",
    ("handover", "--out", "no/page.html"): "no/page.html",
    ("prove", "--vectors", "no/vectors"): "no/vectors",
    ("measure", "folding", "--pushed", "21.5:10", "--out", "no/results"): "no/results",
    ("commission", "folding", "--by", "Ada", "--out", "no/done.json"): "no/done.json",
    ("watch", "--desk", "--capture", "no/crank.jsonl"): "no/crank.jsonl",
    ("watch", "--desk", "--blackbox", "no/box.steps"): "no/box.steps",
    ("watch", "--desk", "--record", "no/ride.csv"): "no/ride.csv",
    ("inspect", "--live", "--desk", "--out", "no/results"): "no/results",
}


@pytest.mark.parametrize("words", PARENTS, ids=" ".join)
def test_no_command_makes_folders_that_nobody_asked_for(treadle, here, words):
    code, out, err = treadle(*words)
    assert (code, out) == (2, "")
    assert f"{PARENTS[words]} can't be written" in err
    assert err.count("\n") == 1
    assert _names(here) == []


@pytest.mark.long
def test_a_second_ride_into_a_folder_is_refused_before_it_rides(treadle, here):
    with subprocess.Popen(
        [*PROGRAM, "ride", "tandem", "--out", "new"],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as first:
        while not any(path.stat().st_size for path in here.glob("new/.unfinished-*/trace.csv")):
            assert first.poll() is None  # It is loading; the ride that follows takes many seconds.
        code, out, err = treadle("ride", "folding", "--out", "new", "--force")
        assert (code, out) == (2, "")
        assert "is being written by another run, allowed is another --out" in err
        first.send_signal(signal.SIGTERM)
        first.communicate(timeout=60)
    assert _names(here) == []


def test_a_second_comparison_into_a_folder_is_refused_before_it_rides(here):
    class Request:
        out, force = Path("new"), False

        @property
        def measured(self):
            raise AssertionError("it begins")

    with (
        Delivery(Path("new"), ("compare.png",), force=False),
        pytest.raises(RequestError, match=r"compare\.png is being written by another run"),
    ):
        compare(Request(), lambda what: None)
    assert _names(here) == []


def test_a_second_measurement_into_a_folder_is_refused_and_writes_nothing(treadle, here):
    (here / "mine.toml").write_bytes((BIKES / "tandem.toml").read_bytes())
    pushed = [word for way in ("21.0:10", "21.1:10", "20.9:10") for word in ("--pushed", way)]
    with Delivery(Path(), ("new/measure",), force=True):
        code, out, err = treadle("measure", "mine.toml", *pushed, "--write", "--out", "new")
    assert (code, out) == (2, "")
    assert "new/measure is being written by another run, allowed is another --out" in err
    assert _names(here) == ["mine.toml"]
    assert (here / "mine.toml").read_bytes() == (BIKES / "tandem.toml").read_bytes()


def test_a_measurement_whose_picture_exists_is_refused_before_it_changes_the_bike_file(treadle, here):
    (here / "mine.toml").write_bytes((BIKES / "tandem.toml").read_bytes())
    (here / "old").mkdir()
    (here / "old" / "pushed.png").write_bytes(b"older")
    pushed = [word for way in ("21.0:10", "21.1:10", "20.9:10") for word in ("--pushed", way)]
    code, out, err = treadle("measure", "mine.toml", *pushed, "--write", "--out", "old")
    assert (code, out) == (2, "")
    assert "pushed.png exists already, allowed is another --out, or --force" in err
    assert (here / "old" / "pushed.png").read_bytes() == b"older"
    assert (here / "mine.toml").read_bytes() == (BIKES / "tandem.toml").read_bytes()


def _verified():
    return VerifyRequest("folding", "stop time", 1, 1, None, False), verify


def _verified_with_faults():
    return FaultsRequest("folding", None, 1, None, False), verify_faults


def _measured():
    pushes = [(21.0, 10.0), (21.1, 10.0), (20.9, 10.0)]
    return MeasureRequest("folding", [], [], [], pushes, {}), lambda request, *_: measure(request)


@pytest.mark.parametrize(
    ("file", "asked"),
    [
        ("treadle-verify/verify.json", _verified),
        ("treadle-faults/faults.json", _verified_with_faults),
        ("treadle-measure/pushed.png", _measured),
    ],
)
def test_a_result_that_came_into_the_default_folder_meanwhile_is_not_replaced(here, file, asked):
    request, run = asked()
    (here / file).parent.mkdir()
    (here / file).write_bytes(b"of another run")
    with pytest.raises(RequestError, match="exists already, allowed is another --out, or --force"):
        run(request, lambda done, of_all: None, lambda sentence: None)
    assert (here / file).read_bytes() == b"of another run"


@pytest.mark.parametrize(
    ("words", "left_out"),
    [
        ("--version", {"numpy", "pydantic", "host_sim.bench", "host_sim.cli.ride"}),
        ("bundle --help", {"host_sim.cli.ride", "host_sim.rules", "matplotlib", "scipy"}),
        ("ride --help", {"host_sim.cli.tune", "matplotlib", "scipy", "jinja2"}),
    ],
)
def test_a_command_starts_without_importing_the_others(words, left_out):
    code = (
        "import atexit, sys; atexit.register(lambda: print(*sys.modules)); "
        "from host_sim.cli import main; main()"
    )
    asked = [sys.executable, "-c", code, *words.split()]
    done = subprocess.run(asked, capture_output=True, text=True, check=True)
    loaded = set(done.stdout.splitlines()[-1].split())
    assert "host_sim.cli" in loaded
    assert loaded & left_out == set()
