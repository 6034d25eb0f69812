"""The worst margin within the intervals of the bike file: found, explained by a number, and reported."""

from types import SimpleNamespace

import numpy as np
import pytest
import tomlkit

from host_sim.bikes.load import BIKES, load_bike
from host_sim.measuring.intervals import DRIVE
from host_sim.tuning import uncertain as module
from host_sim.tuning.drive_bench import settings_now
from host_sim.tuning.uncertain import CHANCE_TIMES, DRIVES_LEAST, influences, uncertain

NUMBERS = {number.name: number for number in DRIVE}
LAG = NUMBERS["motor_controller.lag_s"]


@pytest.fixture
def margins_by(monkeypatch):
    """Let the plant be the bicycle itself, and its gain margin a function of it."""

    def let(gain):
        monkeypatch.setattr(module, "identify", lambda bike, seed: [bike])
        found = lambda plants, gains: SimpleNamespace(  # noqa: E731
            margins=SimpleNamespace(gain=gain(plants[0]), phase_deg=60.0)
        )
        monkeypatch.setattr(module, "worst_case", found)

    return let


def look(path=BIKES / "tandem.toml", **others):
    bike = load_bike(str(path))
    return uncertain(path, bike, settings_now(bike).gains, **others)


def test_the_number_that_the_margin_follows_is_named_with_the_worst_draw(margins_by):
    margins_by(lambda bike: 0.05 / bike.motor_controller.lag_s)
    found = look()
    assert (found.draws, found.as_given) == (50, pytest.approx(2.0))
    assert found.driver is LAG
    assert found.drivers[0][1] == pytest.approx(-1.0, abs=0.02)
    assert max(abs(influence) for _, influence in found.drivers[1:]) < 0.1
    assert found.worst == pytest.approx(0.05 / found.worst_numbers[LAG])
    assert 0.05 / (0.025 * 1.2) <= found.worst < 1.75
    assert "below 2" in " ".join(found.sentences())
    assert found.as_json()["measure_next"] == "motor_controller.lag_s"


def test_what_has_been_measured_is_not_to_be_measured_next(margins_by, tmp_path):
    text = (BIKES / "tandem.toml").read_text(encoding="utf-8")
    path = tmp_path / "own.toml"
    said = "lag_s = 0.025  # measured by hand, 95 % 0.01 to 0.04"
    path.write_text(text.replace("lag_s = 0.025", said), encoding="utf-8")
    margins_by(lambda bike: 0.1 / bike.motor_controller.lag_s - 30.0 * bike.motor.resistance_ohm)
    found = look(path)
    assert found.driver is LAG
    assert found.known[LAG].measured
    assert found.measure_next is NUMBERS["motor.resistance_ohm"]


def test_the_same_seed_gives_the_same_draws_and_another_seed_others(margins_by):
    margins_by(lambda bike: 1.0 / bike.motor_controller.lag_s)
    assert look(seed=3).as_json() == look(seed=3).as_json() != look(seed=4).as_json()


def test_draws_stay_within_the_intervals(margins_by):
    seen = []
    margins_by(lambda bike: seen.append(bike) or 3.0)
    bike, found = load_bike("tandem"), look()
    for number, interval in found.known.items():
        assert all(interval.low <= number.of(one) <= interval.high for one in seen)
        assert interval.low == pytest.approx(0.8 * number.of(bike))
    assert all(one.firmware_settings.as_dict() == bike.firmware_settings.as_dict() for one in seen)


def test_a_margin_that_follows_nothing_names_nothing(margins_by):
    margins_by(lambda bike: 3.0)
    found = look()
    assert (found.driver, found.measure_next) == (None, None)
    assert "measuring would not help" in found.sentences()[-1]
    assert 0.0 < DRIVES_LEAST < 1.0


def test_a_bicycle_without_a_current_sensor_has_no_loop_to_look_at(monkeypatch):
    monkeypatch.setattr(module, "identify", lambda bike, seed: [])
    assert look() is None


def only_one_unknown(tmp_path, name, unknown, share):
    """Write a bike file with every number measured to a thousandth, but one within `share` of its value."""
    document = tomlkit.parse((BIKES / f"{name}.toml").read_text(encoding="utf-8"))
    bike = load_bike(name)
    for number in DRIVE:
        value, known = number.of(bike), share if number is unknown else 0.001
        said = f"measured by hand, 95 % {value * (1 - known):.6g} to {value * (1 + known):.6g}"
        table = document[number.section]
        if number.key not in table:
            table[number.key] = value
        table[number.key].comment(said)
    path = tmp_path / f"{name}.toml"
    path.write_text(tomlkit.dumps(document), encoding="utf-8")
    return path


@pytest.mark.parametrize("unknown", DRIVE, ids=lambda number: number.name)
def test_the_only_number_that_is_not_known_well_is_the_driver_whatever_the_rest_does(
    margins_by, tmp_path, unknown
):
    product = lambda bike: float(np.prod([number.of(bike) for number in DRIVE]))  # noqa: E731
    margins_by(product)
    for seed in (1, 2, 3):
        found = look(only_one_unknown(tmp_path, "tandem", unknown, 0.3), seed=seed)
        assert found.driver is unknown
        assert [one for one, influence in found.drivers if abs(influence) > DRIVES_LEAST] == [unknown]
        # All have an interval: the widest is to be measured again.
        assert found.measure_next is unknown
        assert f"({unknown.name}), again and more exactly" in found.sentences()[-1]


def test_a_number_whose_middle_is_best_is_a_driver_too(margins_by):
    middle = LAG.of(load_bike("tandem"))
    margins_by(lambda bike: 5.0 - ((bike.motor_controller.lag_s - middle) / middle) ** 2)
    for seed in range(1, 6):
        assert look(seed=seed).driver is LAG


def test_a_number_without_influence_is_never_to_be_measured_next(margins_by, tmp_path):
    text = (BIKES / "tandem.toml").read_text(encoding="utf-8")
    path = tmp_path / "own.toml"
    path.write_text(
        text.replace("lag_s = 0.025", "lag_s = 0.025  # measured by hand, 95 % 0.01 to 0.04"),
        encoding="utf-8",
    )
    margins_by(lambda bike: 0.1 / bike.motor_controller.lag_s)
    for seed in range(1, 31):
        found = look(path, seed=seed)
        assert (found.driver, found.measure_next) == (LAG, LAG)


def test_noise_alone_drives_nothing():
    random = np.random.default_rng(1)
    named = 0
    for _ in range(100):
        found, chance = influences(random.uniform(-1.0, 1.0, (50, 8)), list(random.normal(size=50)))
        named += max(map(abs, found)) >= max(DRIVES_LEAST, CHANCE_TIMES * chance)
    assert named <= 5


def test_equal_margins_of_some_draws_share_their_rank():
    drawn = np.linspace(-1.0, 1.0, 50)[:, None]
    (influence,), _ = influences(drawn, [min(4.0, 3.0 + value) for value in drawn[:, 0]])
    assert influence == pytest.approx(1.0, abs=0.01)
    (flat,), _ = influences(drawn, [3.0] * 50)
    assert flat == 0.0


@pytest.mark.slow
@pytest.mark.parametrize("key", ["motor.current_limit_a", "motor_controller.full_v"])
def test_a_planted_number_of_a_real_bicycle_is_found_by_riding_it(tmp_path, key):
    # Measured to a thousandth are all others, so the answer is known: 24 draws of the trike, each ridden.
    path = only_one_unknown(tmp_path, "cargo_trike", NUMBERS[key], 0.2)
    found = look(path, draws=24)
    assert found.driver is NUMBERS[key]
    assert abs(found.drivers[0][1]) > 0.7
    assert look(path, draws=2).as_json() == look(path, draws=2).as_json()


def test_two_real_draws_are_identified_by_riding_them():
    found = look(BIKES / "cargo_trike.toml", draws=2)
    assert found.draws == 2
    assert found.as_given > 1.0
    assert found.worst != pytest.approx(found.as_given, rel=1e-6)
