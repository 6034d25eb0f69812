"""`treadle tune`: what it writes, what it refuses, what it leaves alone."""

import json
import tomllib
from dataclasses import replace
from types import MappingProxyType

import pytest

from host_sim.bikes.load import BIKES, load_bike
from host_sim.cli import tune as command
from host_sim.cli.program import app
from host_sim.errors import RequestError
from host_sim.rules.catalogue import rule_named
from host_sim.rules.fault_matrix import Matrix
from host_sim.rules.judge import Finding, Verdict
from host_sim.tuning import back_off, recommend, rules_check
from host_sim.tuning.advice import ADVICE
from host_sim.tuning.bike_writer import written_text
from host_sim.tuning.rows import rows_of
from host_sim.tuning.variant import with_settings


@pytest.fixture
def tuned_at_once(monkeypatch, folding_tuned):
    """The folding bicycle, tuned once for all of these tests."""
    monkeypatch.setattr(back_off, "tune_apart", lambda *arguments, **more: folding_tuned)
    return folding_tuned


@pytest.fixture
def rules_hold(monkeypatch):
    monkeypatch.setattr(rules_check, "judge", lambda bike, rules, seed, rides, done: [])
    no_rows(monkeypatch)


def no_rows(monkeypatch):
    """Let the fault matrix be empty: its cells are tested in test_tune_rules.py."""
    monkeypatch.setattr(rules_check, "ride_matrix", lambda bike, seed, done: Matrix(bike, [], []))


def run(*words):
    """Run the program as the console does; return its exit code."""
    return app([str(word) for word in words], prog_name="treadle", standalone_mode=False) or 0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["folding", "--priority", "fast"], "--priority is 'fast', "),
        (["no_such_bike"], "no_such_bike"),
        (["folding", "--keep", "rise_rate"], "--keep is 'rise_rate', "),
        (["folding", "--seed", "-1"], "--seed is '-1', allowed is a whole number from 0"),
        (["folding", "--write", "bike.json"], "allowed is a name that ends in .toml"),
    ],
)
def test_a_wrong_request_is_refused_in_one_sentence_before_anything_is_ridden(words, sentence, tmp_path):
    with pytest.raises(RequestError) as refused:
        run("tune", *words, "--out", tmp_path / "out")
    assert sentence in str(refused.value)
    assert "\n" not in str(refused.value)
    assert not (tmp_path / "out").exists()


def test_an_existing_bike_file_is_not_written_over(tmp_path):
    target = tmp_path / "mine.toml"
    target.write_text("title = 1\n", encoding="utf-8")
    with pytest.raises(RequestError, match="exists already, allowed is another --write, or --force"):
        run("tune", "folding", "--write", target, "--out", tmp_path / "out")
    assert target.read_text(encoding="utf-8") == "title = 1\n"


def test_without_its_libraries_it_says_how_to_get_them(monkeypatch, tmp_path):
    monkeypatch.setattr(command, "find_spec", lambda name: None)
    with pytest.raises(RequestError, match="get it with: uv run --extra tune treadle tune"):
        run("tune", "folding", "--out", tmp_path / "out")


@pytest.mark.long
def test_json_has_every_recommendation_with_its_reasons(tuned_at_once, rules_hold, tmp_path, capsys):
    assert run("tune", "folding", "--out", tmp_path / "out", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    names = [row["setting"] for row in told["recommendations"]]
    assert names[:5] == ["pulses_per_rev", "engage_edges", "engage_rpm", "release_rpm", "stop_pitch_percent"]
    assert {"rise_mv_per_s", "fall_mv_per_s", "open_map_full_w", "battery_foldback_mv"} <= set(names)
    keys = ["setting", "now", "recommended", "spread", "why", "assumes", "check", "before", "after"]
    for row in told["recommendations"]:
        assert list(row) == keys
        assert min(len(row["why"]), len(row["assumes"]), len(row["check"])) > 20
    assert told["loop"] is None  # No shunt, no loop.
    assert told["score"]["after"] < told["score"]["before"]
    written = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert written == ["before_after.png", "rise_rate.png", "thresholds.png", "trade_off.png", "tune.json"]
    for name in written[:4]:
        assert (tmp_path / "out" / name).read_bytes()[:4] == b"\x89PNG"


@pytest.mark.long
def test_the_written_bike_file_is_the_old_one_with_other_settings(tuned_at_once, rules_hold, tmp_path):
    target = tmp_path / "new" / "mine.toml"
    target.parent.mkdir()
    assert run("tune", "folding", "--out", tmp_path / "out", "--write", target) == 0
    before = (BIKES / "folding.toml").read_text(encoding="utf-8")
    after = target.read_text(encoding="utf-8")
    assert after.startswith(before.rstrip("\n"))  # Comments, order and all; there was no [settings].
    settings = tomllib.loads(after)["settings"]
    assert settings["stop_pitch_percent"] == tuned_at_once.changes["stop_pitch_percent"] != 160
    assert "# treadle tune, balanced" in after
    assert load_bike(target).firmware_settings.as_dict() == tuned_at_once.tuned.firmware_settings.as_dict()


@pytest.mark.long
def test_a_bike_file_that_breaks_a_rule_is_not_written_and_the_rule_is_named(
    tuned_at_once, monkeypatch, tmp_path, capsys
):
    rule = rule_named("forward pedalling only")

    def failing(bike, rules, seed, rides, done):
        assert rule in rules
        measured = 0.0 if bike is tuned_at_once.bike else 99.0
        return [Verdict(rule, bike, [Finding(rule.name, "backward", 1, measured)])]

    monkeypatch.setattr(rules_check, "judge", failing)
    no_rows(monkeypatch)
    target = tmp_path / "mine.toml"
    assert run("tune", "folding", "--out", tmp_path / "out", "--write", target) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "Not written: forward pedalling only fails, 99 against " in told
    assert "fit a sensor with two channels" in told
    assert not target.exists()
    assert (tmp_path / "out" / "tune.json").exists()


@pytest.mark.long
def test_a_rule_that_was_not_shown_does_not_keep_a_bike_file_from_being_written(
    tuned_at_once, monkeypatch, tmp_path, capsys
):
    rule = rule_named("forward pedalling only")
    monkeypatch.setattr(
        rules_check, "judge", lambda bike, rules, seed, rides, done: [Verdict(rule, bike, [])]
    )
    no_rows(monkeypatch)
    target = tmp_path / "mine.toml"
    assert run("tune", "folding", "--out", tmp_path / "out", "--write", target) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Not shown either way: forward pedalling only, none of 2 rides tested it" in told
    assert "The other rules hold over 50 rides of each kind" in told
    assert target.exists()
    numbers = json.loads((tmp_path / "out" / "tune.json").read_text(encoding="utf-8"))
    assert (numbers["refusals"], numbers["rules_not_shown"]) == ([], ["forward pedalling only"])


@pytest.mark.long
def test_everything_that_is_printed_fits_into_80_columns(tuned_at_once, rules_hold, tmp_path, capsys):
    run("tune", "folding", "--out", tmp_path / "out")
    told = capsys.readouterr().out.splitlines()
    assert len(told) > 60
    assert [line for line in told if len(line) > 80 and str(tmp_path) not in line] == []
    assert "release_rpm             12           13  changed  13 to 14" in told


@pytest.mark.long
def test_what_is_printed_is_what_write_writes_where_a_rule_refuses_the_best(
    folding_tuned, monkeypatch, tmp_path, capsys
):
    # Without --write a ramp was recommended that the fault matrix refuses.
    rule, now = rule_named("forward pedalling only"), folding_tuned.bike.firmware_settings

    def tuned(bike, priority, done, seed, keep, held=MappingProxyType({}), earlier=None, say=None):
        assert (earlier is None) == (not held)
        changes = folding_tuned.changes | held
        return replace(folding_tuned, changes=changes, tuned=with_settings(bike, changes), held=dict(held))

    def judged(bike, rules, seed, rides, done):
        measured = 0.0 if bike.firmware_settings.release_rpm == now.release_rpm else 99.0
        return [Verdict(rule, bike, [Finding(rule.name, "backward", 1, measured)])]

    monkeypatch.setattr(back_off, "tune_apart", tuned)
    monkeypatch.setattr(rules_check, "judge", judged)
    no_rows(monkeypatch)
    told = []
    for words in ((), ("--write", tmp_path / "mine.toml")):
        assert run("tune", "folding", "--out", tmp_path / f"out{len(told)}", "--json", *words) == 0
        told.append(json.loads(capsys.readouterr().out))
        told[-1]["files"] = []
    assert told[0] == told[1]
    assert "release_rpm 12 instead of 13" in told[0]["held_back"]
    recommended = {row["setting"]: row["recommended"] for row in told[0]["recommendations"]}
    written = load_bike(tmp_path / "mine.toml").firmware_settings.as_dict()
    assert recommended["release_rpm"] == written["release_rpm"] == now.release_rpm
    assert {name: written[name] for name in recommended if name in written} == {
        name: value for name, value in recommended.items() if name in written
    }


def test_a_setting_that_is_kept_is_not_changed_and_says_so(folding_tuned):
    changes = folding_tuned.changes | {"rise_mv_per_s": 600}
    kept = replace(folding_tuned, changes=changes, keep=("rise_mv_per_s",))
    row = next(row for row in rows_of(kept) if row.setting == "rise_mv_per_s")
    assert row.recommended == row.now == 600
    assert row.why.startswith("kept as requested; ")


def test_an_interruption_leaves_nothing(monkeypatch, tmp_path):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(back_off, "tune_apart", interrupted)
    assert run("tune", "folding", "--out", tmp_path / "out") == 130
    assert not (tmp_path / "out").exists()


def test_existing_settings_keep_their_comments_and_shares_go_to_the_selector(folding_tuned):
    trike = load_bike("cargo_trike")
    shares = [0.0, 30.0, 65.0, 100.0]
    tuned = replace(
        folding_tuned,
        bike=trike,
        changes={"rise_mv_per_s": 1234, "fall_mv_per_s": 5000},
        shares_percent=shares,
    )
    text = written_text((BIKES / "cargo_trike.toml").read_text(encoding="utf-8"), tuned)
    assert "cutoff_distance_mm = 2000           # all levers have switches" in text
    assert "rise_mv_per_s = 1234 # treadle tune, balanced" in text
    assert "fall_mv_per_s" not in text  # As it is now.
    assert tomllib.loads(text)["selector"]["shares_percent"] == shares
    assert "[selector]                          # auxiliary switch with four positions" in text


def test_the_folding_bicycle_gets_better_and_its_thresholds_fit_its_ring(folding_tuned):
    assert folding_tuned.after.scores.total < folding_tuned.before.scores.total
    assert folding_tuned.changes["engage_rpm"] == 22  # Six magnets can't show less than 20.2 at the taper.
    assert folding_tuned.after.release.lapses_per_min == 0.0
    assert folding_tuned.loop is None


SYMPTOMS = {
    "jerks": ("rise_mv_per_s", "fall_mv_per_s"),
    "runs on": ("stop_pitch_percent", "release_rpm"),
    "surges": ("gain_uv_per_w", "integral_ms", "battery_foldback_mv"),
    "sluggish": ("engage_edges", "rise_mv_per_s", "gain_uv_per_w", "open_map_full_w"),
    "cuts out on slow pedalling": ("release_rpm", "stop_pitch_percent", "pulses_per_rev"),
    "nothing at all": ("lead", "forward_duty_high", "pulses_per_rev", "engage_rpm", "throttle_rest_mv"),
    "works backward": ("lead", "forward_duty_high"),
}


def test_every_symptom_has_settings_whose_advice_names_it(folding_tuned):
    for symptom, settings in SYMPTOMS.items():
        for setting in settings:
            assert symptom in ADVICE[setting].check
    assert {row.setting for row in rows_of(folding_tuned)} <= set(ADVICE)


def test_settings_that_contradict_the_sensor_are_put_right_first():
    trike = load_bike("cargo_trike")
    assert recommend.sensor_corrections(trike) == {}
    wrong = with_settings(trike, {"lead": 1, "pulses_per_rev": 20})
    assert recommend.sensor_corrections(wrong) == {"lead": 0, "pulses_per_rev": 10}


def test_a_chosen_open_map_does_not_stay_because_it_is_there():
    folding = load_bike("folding")
    chosen = with_settings(folding, {"open_map_full_w": 60})
    assert folding.firmware_settings.open_map_full_w == 718
    assert recommend.plain_settings(chosen).open_map_full_w == 718
