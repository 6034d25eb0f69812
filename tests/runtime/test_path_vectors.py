"""Every path that the proofs found is gone down on every runtime, and comes to what the solver predicted."""

import pytest

from host_sim.proof.explorer import Vector
from host_sim.proof.prover import PROVED, REFUTED, LemmaResult
from tests.runtime.path_vectors import NotProved, keep_vectors, place_vectors
from tests.runtime.runners import (
    Compiled,
    CPython,
    MicroPython32,
    MicroPython64,
    ReplayFailed,
    all_runtimes,
)

pytestmark = pytest.mark.long

RUNTIMES = [CPython(), Compiled(), MicroPython64(), MicroPython32()]
PATHS = 7_257

# Worked by hand: from 1000 mV, 500 mV/s for 10 ms are 5 mV; 300 us later than 2**30 - 100 us is 200 us.
BY_HAND = (
    "slew_limiter|rise=500,fall=5000,command=1000,carry=0,last=0,now=10000,target=3000|command=1005,carry=0",
    "ticks_forward|time=1073741724,span=300|later=200",
    "engagement_table||states=6",
)

every_runtime = pytest.mark.parametrize("runtime", RUNTIMES, ids=lambda runtime: runtime.title)


@pytest.fixture
def replay(tmp_path):
    """Return a function that replays lines on a runtime."""

    def of(runtime, *lines, end="\n"):
        if runtime.why_missing():
            pytest.skip(f"{runtime.title}: {runtime.why_missing()}")
        path = tmp_path / "lines"
        path.write_bytes("\n".join(lines).encode() + end.encode())
        return runtime.replay_vectors(path)

    return of


@pytest.fixture
def all_vectors(results):
    """Return what a runtime made of all vectors."""

    def of(title):
        found = results.vectors[title]
        if isinstance(found, str):
            pytest.skip(f"{title}: {found}")
        return found

    return of


def test_all_runtimes_are_tried():
    assert [type(runtime) for runtime in RUNTIMES] == [type(runtime) for runtime in all_runtimes()]


@every_runtime
def test_every_path_comes_to_what_was_predicted(all_vectors, runtime):
    replayed = all_vectors(runtime.title)
    assert replayed.complaints == []
    assert (replayed.differences, replayed.vectors) == (0, PATHS)
    assert replayed.outcomes > 2 * PATHS


@every_runtime
def test_every_path_comes_to_the_same_number(all_vectors, runtime):
    assert all_vectors(runtime.title).digest == all_vectors("CPython").digest


@every_runtime
def test_vectors_worked_by_hand_hold(replay, runtime):
    replayed = replay(runtime, *BY_HAND)
    assert (replayed.vectors, replayed.outcomes, replayed.complaints) == (3, 4, [])


@every_runtime
def test_a_single_outcome_that_is_wrong_is_found_and_named(replay, runtime):
    replayed = replay(runtime, BY_HAND[0].replace("1005", "1006"), *BY_HAND[1:])
    assert replayed.differences == 1
    assert replayed.complaints == ["vector 1 slew_limiter command is 1005 and was predicted as 1006"]


@every_runtime
def test_a_single_wrong_outcome_among_all_vectors_is_found(results, all_vectors, tmp_path, runtime):
    all_vectors(runtime.title)
    lines = results.vector_file.read_text(encoding="ascii").splitlines(keepends=True)
    before, number = lines[40].rstrip("\n").rsplit("=", 1)
    lemma, name = before.split("|")[0], before.split("|")[2].split(",")[-1]
    wrong = int(number) + 1
    lines[40] = f"{before}={wrong}\n"
    tampered = tmp_path / "tampered"
    tampered.write_text("".join(lines[:200]), encoding="ascii", newline="")
    replayed = runtime.replay_vectors(tampered)
    assert (replayed.vectors, replayed.differences) == (200, 1)
    assert replayed.complaints == [f"vector 41 {lemma} {name} is {number} and was predicted as {wrong}"]


@every_runtime
def test_an_outcome_too_much_or_too_little_is_found(replay, runtime):
    replayed = replay(runtime, "engagement_table||events=10")
    assert sorted(replayed.complaints) == [
        "vector 1 engagement_table events was predicted and did not come",
        "vector 1 engagement_table states is 6 and was predicted as None",
    ]


@every_runtime
def test_numbers_for_which_a_claim_fails_are_found(replay, runtime):
    # One microsecond beyond the longest permitted gap between steps, a crank at rest is taken to be turning.
    values = (
        "shortest=3750,glitch=234,standstill=4250000,b_leads=1,levels=0,position=0,started=0,standing=0,behind=0,"
        "forward_run=1,backward_run=0,rejected=0,last=0,quiet=4250000,step_gap=532620912"
    )
    replayed = replay(runtime, f"crank_standstill_too_late|{values}|standing=1,forward=0")
    assert replayed.complaints == [
        "vector 1 crank_standstill_too_late fails: a crank that has been quiet too long stands"
    ]


@every_runtime
def test_numbers_that_a_lemma_does_not_take_are_found(replay, runtime):
    lines = ["ticks_forward|time=1073741824,span=300|later=300", "ticks_forward|time=0|later=0"]
    assert [line.split(" ", 3)[3] for line in replay(runtime, *lines).complaints] == [
        "does not take: time",
        "asks for a number that is not there: span",
    ]


@every_runtime
@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("ticks_forward|time=0,span=0", "line 2 is no path vector"),
        ("no_such_lemma||count=1", "line 2 asks for no_such_lemma, which is no lemma"),
        ("ticks_forward|time=0,span=x|later=0", "line 2 has no number in 'span=x'"),
    ],
)
def test_a_line_that_is_no_vector_is_refused(replay, runtime, line, complaint):
    with pytest.raises(ReplayFailed, match=f"^ValueError: {complaint}$"):
        replay(runtime, BY_HAND[0], line, BY_HAND[1])


@every_runtime
def test_a_file_cut_short_is_refused(replay, runtime):
    with pytest.raises(ReplayFailed, match=r"^ValueError: the file ends within line 3$"):
        replay(runtime, *BY_HAND, end="")


def test_the_compiled_firmware_is_what_the_steps_of_components_find(tmp_path):
    runtime = Compiled()
    if runtime.why_missing():
        pytest.skip(runtime.why_missing())
    script = tmp_path / "where.py"
    script.write_text(
        "import tests.paths.guard as steps\nimport sys\n"
        "print(sys.modules[steps.OutputGuard.__module__].__file__)\n",
        encoding="ascii",
    )
    assert runtime._print(script, []).strip().endswith((".so", ".pyd"))


def lemma(name, verdict, outcome):
    result = LemmaResult(name)
    result.verdict = verdict
    result.what = "it does not hold"
    result.vectors = [Vector({"one": 1}, {"outcome": outcome})]
    return result


def test_vectors_are_kept_under_what_they_follow_from_and_those_of_former_sources_go(monkeypatch, tmp_path):
    cache = tmp_path / "cache"
    monkeypatch.setenv("TREADLE_CACHE", str(cache))
    cache.mkdir()
    (cache / "vectors-0123456789abcdef").write_text("of former sources", encoding="ascii")
    keep_vectors({"b": lemma("b", PROVED, 2), "a": lemma("a", PROVED, 3)})
    path = place_vectors(tmp_path)
    assert path.read_text(encoding="ascii") == "a|one=1|outcome=3\nb|one=1|outcome=2\n"
    assert len(list(cache.iterdir())) == 1

    source = tmp_path / "source"
    (source / "firmware").mkdir(parents=True)
    monkeypatch.setattr("tests.runtime.path_vectors.ROOT", source)
    for number, text in enumerate(["# One.\n", "# Two.\n"]):
        (source / "firmware" / "ticks.py").write_text(text, encoding="ascii")
        monkeypatch.setattr(
            "tests.proving.explore_all", lambda *_, number=number: {"c": lemma("c", PROVED, number)}
        )
        for _ in range(2):
            assert place_vectors(tmp_path).read_text(encoding="ascii") == f"c|one=1|outcome={number}\n"


def test_vectors_of_what_is_not_proved_are_not_kept(monkeypatch, tmp_path):
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path / "cache"))
    with pytest.raises(NotProved, match=r"^a is refuted: it does not hold$"):
        keep_vectors({"a": lemma("a", REFUTED, 3)})
    assert not (tmp_path / "cache").exists()


def test_where_nothing_can_be_kept_the_vectors_are_there_all_the_same(monkeypatch, tmp_path):
    (tmp_path / "file").touch()
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path / "file"))
    monkeypatch.setattr("tests.proving.explore_all", lambda *_: {"c": lemma("c", PROVED, 4)})
    assert place_vectors(tmp_path).read_text(encoding="ascii") == "c|one=1|outcome=4\n"
