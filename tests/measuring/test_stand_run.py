"""Stand runs: numbers of motors from independent equations are found again, or the missing data are named."""

import json
from dataclasses import replace
from math import exp

import control
import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from host_sim.bikes.load import BIKES, load_bike
from host_sim.errors import RequestError
from host_sim.measuring.estimate import NotEnoughError
from host_sim.measuring.log import Log
from host_sim.measuring.stand_command import FineCommand
from host_sim.measuring.stand_data import StandData
from host_sim.measuring.stand_run import fit_stand_run
from host_sim.measuring.stand_search import Guess
from tests.measuring.spinning import NAMES, Logger, Spin, board, followed, logged

GUESS = Guess(3.8, 24.0, 0.3, 1.0)
SPEED_SPIN = Spin("speed")
TORQUE_SPIN = Spin("torque")


@pytest.fixture(scope="module")
def logs():
    random = np.random.default_rng(8)
    return {spin.kind: logged(spin, random) for spin in (SPEED_SPIN, TORQUE_SPIN)}


@pytest.fixture(scope="module")
def fits(logs):
    return {kind: fit_stand_run(log, GUESS) for kind, log in logs.items()}


def changed(log, **columns):
    return Log(log.name, {**log.columns, **columns})


def rows_of(log, rows):
    return Log(log.name, {name: column[rows] for name, column in log.columns.items()})


def holds_truth(fit, spin, slack=1.0):
    """Check each interval, for a seed that was not chosen; one in twenty may miss slightly."""
    for name, found in fit.numbers.items():
        assert abs(found.value - spin.truth[name]) <= slack * (found.high - found.value), (name, found.value)


@pytest.mark.parametrize("spin", [SPEED_SPIN, TORQUE_SPIN], ids=["speed", "torque"])
def test_the_numbers_of_a_motor_come_back(fits, spin):
    fit = fits[spin.kind]
    assert fit.kind == spin.kind
    assert fit.unsure == []
    assert set(fit.numbers) == set(spin.truth)
    holds_truth(fit, spin, 1.5)
    for name, found in fit.numbers.items():
        assert found.value == pytest.approx(spin.truth[name], rel=0.05), name


def test_the_search_forgets_what_the_bike_file_says(logs, fits):
    one = fits["speed"]
    other = fit_stand_run(logs["speed"], Guess(3.2, 45.0, 0.1, 0.4))
    for name, found in one.numbers.items():
        assert other.numbers[name].value == pytest.approx(found.value, rel=1e-3), name


def test_share_of_a_step_is_the_closed_form_of_a_first_order_lag():
    # 1 - exp(-t / lag) after a step (any text on control); the command steps within one sample.
    times = np.arange(0.0, 12.0, 0.005)
    command_v = np.where(times >= 2.0, 3.0, 0.0)
    speed = np.where(times >= 2.0, 5.0, 0.0) * (times < 8.0)
    columns = (times, speed, np.full_like(times, 40.0), np.full_like(times, 1.0), command_v * (times < 8.0))
    data = StandData(Log("step.csv", dict(zip(NAMES, columns, strict=True))))
    rows = np.array([420, 440, 460])  # 0.1, 0.2 and 0.3 s after the step.
    share = FineCommand(data, rows).share(0.1, 0.5, 5.5, 0.0)
    # Between two samples the command is a straight line. It passes 0.5 V after a sixth of it, and the rest is
    # as good as a step in its middle, 5/12 of 5 ms before the sample.
    assert share == pytest.approx(
        [0.5 * (1.0 - exp(-(n * 0.1 + 0.00208) / 0.1)) for n in (1, 2, 3)], abs=1e-4
    )
    later = FineCommand(data, rows).share(0.1, 0.5, 5.5, 0.003)
    assert later == pytest.approx(
        [0.5 * (1.0 - exp(-(n * 0.1 - 0.00092) / 0.1)) for n in (1, 2, 3)], abs=1e-4
    )


def test_a_step_in_closed_form_gives_the_numbers_that_it_is_made_of():
    # m v' = K (i - i0) with i = (s V - K v) / R, no lag: v = (s V - R i0) / K (1 - exp(-t K^2 / (m R))),
    # the closed form of a direct-current machine.
    # K 4 V s/m, R 0.5 ohm, m 4 kg, V 36 V, i0 0.8 A: time constant 0.125 s.
    times = np.arange(0.0, 40.0, 0.005)
    command_v, speed, current_a = np.zeros((3, len(times)))
    for number, share in enumerate((0.3, 0.6, 1.0) * 2):
        start_s = 1.0 + 6.0 * number
        on = (times >= start_s) & (times < start_s + 4.0)
        left = np.exp(-(times[on] - start_s) / 0.125)
        command_v[on] = 1.0 + 2.5 * share if share < 1.0 else 4.2
        speed[on] = (share * 36.0 - 0.4) / 4.0 * (1.0 - left)
        current_a[on] = share * (0.8 + (share * 36.0 - 0.4) / 0.5 * left)
    random = np.random.default_rng(1)
    speed += random.normal(size=len(times)) * 0.02
    current_a += random.normal(size=len(times)) * 0.05
    # A row shows the effect of the commands before it.
    columns = (times, speed, np.full_like(times, 36.0), current_a, command_v)
    fit = fit_stand_run(Log("closed.csv", dict(zip(NAMES, columns, strict=True))), GUESS)
    assert fit.kind == "speed"
    assert fit.numbers["volts_s_per_m"].value == pytest.approx(4.0, rel=2e-3)
    assert fit.numbers["ohm"].value == pytest.approx(0.5, rel=0.02)
    assert fit.numbers["no_load_a"].value == pytest.approx(0.8, rel=0.02)
    assert fit.numbers["start_v"].value == pytest.approx(1.0, abs=0.01)


def test_the_lag_that_python_control_identifies_in_the_same_log_is_in_the_interval(logs, fits):
    fit = fits["speed"]
    value = {name: found.value for name, found in fit.numbers.items()}
    time_s, speed, battery_v, current_a, command_v = (logs["speed"].columns[name][:1000] for name in NAMES)
    wanted = np.clip((command_v - value["start_v"]) / (value["full_v"] - value["start_v"]), 0.0, 1.0)

    def misses_v(lag_s):
        """Return the residual of the law with the library's response of 1 / (lag s + 1)."""
        share = control.forced_response(control.tf([1.0], [lag_s, 1.0]), time_s, wanted).outputs
        law = share * (share * battery_v - value["volts_s_per_m"] * speed) - value["ohm"] * current_a
        return float(np.sum(law[share > 0.05] ** 2))

    found = minimize_scalar(misses_v, bounds=(0.005, 0.2), method="bounded").x
    # One opening of nine, so three times as uncertain as the fit of all.
    half = fit.numbers["lag_s"].high - value["lag_s"]
    assert abs(found - value["lag_s"]) < 3.0 * half + 0.0005
    assert found == pytest.approx(SPEED_SPIN.lag_s, rel=0.1)


@pytest.mark.parametrize("name", ["speed", "torque"])
def test_without_a_shunt_it_says_that_resistance_no_load_current_and_lag_are_missing(logs, name):
    log = changed(logs[name], current_a=np.zeros_like(logs[name].columns["current_a"]))
    absent = Log("no.csv", {key: column for key, column in log.columns.items() if key != "current_a"})
    for one in (log, absent):
        fit = fit_stand_run(one, Guess(3.8, 24.0, 0.3, 1.0))
        assert fit.kind == name
        assert not {"ohm", "no_load_a", "lag_s", "limit_a"} & set(fit.numbers)
        assert fit.unsure[-1].startswith("the motor's resistance, the no-load current, the lag")
        assert fit.unsure[-1].endswith(": no current is measured")
        holds_truth(fit, SPEED_SPIN)


@pytest.mark.long
@pytest.mark.parametrize("spin", [SPEED_SPIN, TORQUE_SPIN], ids=["speed", "torque"])
def test_a_boards_record_by_wheel_pulses_gives_what_even_speeds_tell(spin):
    random = np.random.default_rng(5)
    for logger in (board(spin), replace(board(spin), step_s=0.005)):
        fit = fit_stand_run(logged(spin, random, logger, rounds=2), GUESS)
        assert fit.kind == spin.kind
        assert "volts_s_per_m" in fit.numbers
        assert not {"ohm", "lag_s"} & set(fit.numbers)
        assert fit.unsure[-1].endswith("the speed is read too seldom or by wheel pulses")
        holds_truth(fit, spin, 1.5)


@pytest.mark.long
@pytest.mark.parametrize("spin", [SPEED_SPIN, TORQUE_SPIN], ids=["speed", "torque"])
def test_rounded_readings_and_a_noisy_command_only_widen_the_intervals(spin):
    logger = Logger(current_noise=0.02, command_noise=0.01, current_step_a=0.1, voltage_step_v=0.1)
    fit = fit_stand_run(logged(spin, np.random.default_rng(77), logger), GUESS)
    assert fit.kind == spin.kind
    holds_truth(fit, spin, 1.5)


@pytest.mark.long
def test_a_throttle_that_never_opens_fully_tells_lag_and_dead_band_but_no_volts():
    random = np.random.default_rng(9)
    fit = fit_stand_run(logged(SPEED_SPIN, random, levels=(1.7, 2.1, 2.6), rounds=2), GUESS)
    assert set(fit.numbers) <= {"lag_s", "start_v"}
    assert "the throttle must open until the wheel gets no faster" in fit.unsure[0]


@pytest.mark.parametrize(
    ("spin", "levels"),
    [
        (SPEED_SPIN, (3.7, 3.95, 4.2)),  # Each fully open.
        (SPEED_SPIN, (3.5, 3.8, 4.2)),
        (TORQUE_SPIN, (3.7, 3.95, 4.2)),
        (TORQUE_SPIN, (1.083, 1.3, 1.6)),  # The lowest command hardly turns the wheel.
        (
            replace(TORQUE_SPIN, air_n_per_m2_per_s2=0.1),
            (1.25, 1.5, 4.2),
        ),  # Air resistance reduces the speed of a low command.
    ],
)
def test_the_kind_is_never_mistaken_where_commands_tell_little(spin, levels):
    try:
        fit = fit_stand_run(logged(spin, np.random.default_rng(3), levels=levels, rounds=1), GUESS)
    except NotEnoughError as reason:
        refused = str(reason)
    else:
        refused = ""
        assert fit.kind == spin.kind
    assert not refused or refused.startswith(
        ("the kind of the motor controller is unclear: ", "commands that the throttle")
    )


def test_three_rising_commands_and_one_stop_are_a_run():
    random = np.random.default_rng(4)
    at_s = np.array([0.0, 1.0, 1.5, 5.0, 5.5, 9.0, 9.6, 13.0, 13.02, 17.0])
    command_v = np.array([0.0, 0.0, 1.9, 1.9, 2.7, 2.7, 4.2, 4.2, 0.0, 0.0])
    fit = fit_stand_run(followed(SPEED_SPIN, random, at_s, command_v), GUESS)
    assert fit.kind == "speed"
    assert fit.numbers["volts_s_per_m"].value == pytest.approx(5.0, rel=5e-3)
    assert fit.numbers["no_load_a"].value == pytest.approx(SPEED_SPIN.truth["no_load_a"], rel=0.05)


@pytest.mark.parametrize(
    ("edit", "sentence"),
    [
        (
            lambda log: rows_of(log, slice(0, 1500)),
            "it has 7.5 s with all columns filled, allowed is 10 s or more",
        ),
        (
            lambda log: rows_of(log, slice(None, None, 100)),
            "every 0.5 s, allowed is at most 0.25 s between",
        ),
        (
            lambda log: changed(log, speed_m_per_s=np.maximum(log.columns["speed_m_per_s"], 3.0)),
            "never stops",
        ),
        (
            lambda log: changed(log, speed_m_per_s=log.columns["speed_m_per_s"] * 0.01),
            "the wheel turns at 0.08 m/s",
        ),
        (
            lambda log: changed(log, battery_v=np.full_like(log.columns["battery_v"], np.nan)),
            "it has 0 s with all",
        ),
        (lambda log: Log("stand.csv", {"time_s": log.columns["time_s"]}), "column speed_m_per_s is missing"),
    ],
)
def test_a_log_that_is_no_stand_run_is_refused_in_a_sentence(logs, edit, sentence):
    with pytest.raises(RequestError, match=sentence):
        fit_stand_run(edit(logs["speed"]), GUESS)


def test_what_a_log_lacks_is_named(logs):
    with pytest.raises(NotEnoughError, match="at least 3 are needed"):
        fit_stand_run(rows_of(logs["speed"], slice(0, 3200)), GUESS)
    other = logs["speed"].columns["current_a"]
    strange = changed(logs["torque"], current_a=np.resize(other, len(logs["torque"].columns["time_s"])))
    with pytest.raises(
        NotEnoughError, match=r"of the samples fit a motor of the torque kind|no unique result"
    ):
        fit_stand_run(strange, GUESS)


def written(log, path):
    rows = zip(*log.columns.values(), strict=True)
    lines = [",".join(log.columns), *(",".join(f"{value:.4f}" for value in row) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


def test_the_command_prints_json_draws_and_changes_the_bike_file(tmp_path, logs, treadle):
    own = tmp_path / "own.toml"
    own.write_text((BIKES / "cargo_trike.toml").read_text(encoding="utf-8"), encoding="utf-8")
    stand, out = written(logs["speed"], tmp_path / "stand.csv"), tmp_path / "out"
    code, printed, err = treadle(
        "measure", str(own), "--stand", stand, "--json", "--write", "--out", str(out)
    )
    assert code == 0
    found = json.loads(printed)
    assert all(set(entry) == {"value", "low", "high", "unit"} for entry in found.values())
    assert found["motor_controller_kind"]["value"] == "speed"
    # The trike's circumference over a turn, 1.89 / 2 pi.
    volts = found["volts_per_m_per_s"]["value"]
    assert found["torque_constant_nm_per_a"]["value"] == pytest.approx(volts * 0.30080, rel=1e-3)
    assert err == "stand.csv: the motor controller is of the speed kind, the bike file says torque\n"
    assert (out / "stand_run.png").read_bytes().startswith(b"\x89PNG")
    bike = load_bike(own)
    assert bike.motor_controller.kind == "speed"
    assert bike.motor_controller.start_v == pytest.approx(1.0, abs=0.01)
    assert bike.motor.resistance_ohm == pytest.approx(0.25, rel=0.05)
    assert 'kind = "speed"' in own.read_text(encoding="utf-8")
    assert "measured by stand run, 95 %" in own.read_text(encoding="utf-8")


def test_a_stand_log_that_is_none_ends_with_2_and_one_without_currents_with_1(tmp_path, logs, treadle):
    short = written(rows_of(logs["speed"], slice(0, 1500)), tmp_path / "short.csv")
    code, printed, err = treadle("measure", "cargo_trike", "--stand", short, "--out", str(tmp_path / "out"))
    assert (code, printed) == (2, "")
    assert "short.csv: it has 7.5 s with all columns filled, allowed is 10 s or more" in err
    dark = changed(logs["speed"], current_a=np.zeros_like(logs["speed"].columns["current_a"]))
    code, printed, _ = treadle(
        "measure",
        "cargo_trike",
        "--stand",
        written(dark, tmp_path / "dark.csv"),
        "--out",
        str(tmp_path / "out"),
    )
    assert code == 1
    assert "not enough in this log for the motor's resistance" in printed
    assert "no current is measured" in printed
