"""Bike files: their content, the settings that follow, and refusals with their sentences."""

import tomllib
from contextlib import suppress
from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.settings import TABLE, Settings
from host_sim.bikes import example_names, load_bike, settings_of
from host_sim.bikes.load import BIKES
from host_sim.errors import RequestError
from host_sim.places.limits import load_place

TRIKE = (BIKES / "cargo_trike.toml").read_text(encoding="utf-8")


def changed(tmp_path, *changes, name="cargo_trike"):
    """Load an example with lines `key = ...` of sections replaced; ("motor", "x", None) removes one."""
    text = (BIKES / f"{name}.toml").read_text(encoding="utf-8")
    for section, key, value in changes:
        if f"\n[{section}]" not in text and section:
            text += f"\n[{section}]\n"
        start = text.index(f"\n[{section}]") + 1 if section else 0
        end = text.find("\n[", start + 1)
        end = len(text) if end < 0 else end
        lines = [line for line in text[start:end].split("\n") if not line.startswith(f"{key} =")]
        if value is not None:
            lines.insert(1, f"{key} = {value}")
        text = text[:start] + "\n".join(lines) + text[end:]
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return load_bike(path)


def refusal(tmp_path, *changes, name="cargo_trike"):
    with pytest.raises(RequestError) as refused:
        changed(tmp_path, *changes, name=name)
    assert str(refused.value).startswith("mine.toml: ")
    assert "\n" not in str(refused.value)
    return str(refused.value).removeprefix("mine.toml: ")


def test_there_are_four_examples_and_each_loads():
    assert example_names() == ["cargo_trike", "folding", "step_through", "tandem"]
    for name in example_names():
        bike = load_bike(name)
        assert bike.name == name
        assert isinstance(settings_of(bike), Settings)
        assert bike.place_profile.title == load_place(bike.place).title


def test_the_cargo_trike_gives_these_settings():
    settings = load_bike("cargo_trike").firmware_settings
    assert (settings.sensor_kind, settings.lead, settings.pulses_per_rev) == (0, 0, 10)
    # 10 magnets of two channels make 40 edges a turn; a sixth of a turn is 7 of them.
    assert settings.engage_edges == 7
    assert settings.wheel_circumference_mm == 1890
    assert (settings.command_start_mv, settings.command_max_mv, settings.motor_lag_ms) == (1100, 3600, 60)
    assert (settings.power_limit_w, settings.assist_power_w, settings.throttle_power_w) == (250, 250, 250)
    # 25 km/h is 6944.4 mm/s, and 95 % of 6 km/h 1583.3 mm/s, rounded down: never more than the place allows.
    assert (settings.cutoff_speed_mm_per_s, settings.startup_speed_mm_per_s) == (6944, 1583)
    assert settings.throttle_unpedalled == 1
    assert settings.cutoff_distance_mm == 2000
    assert (settings.throttle_rest_mv, settings.throttle_full_mv) == (1000, 3450)
    assert settings.selector_positions == 4
    assert [settings.share_1_permille, settings.share_2_permille] == [0, 350]
    assert [settings.share_3_permille, settings.share_4_permille] == [700, 1000]
    assert (settings.selector_low_mv, settings.selector_high_mv) == (600, 4200)
    # The lowest sixth of 31 to 42 V.
    assert (settings.battery_empty_mv, settings.battery_foldback_mv) == (31000, 32833)
    assert (settings.shunt_fitted, settings.heat_sensor_fitted) == (1, 1)


def test_the_tandem_gives_these_settings():
    settings = load_bike("tandem").firmware_settings
    # On the left of the crank the other channel leads.
    assert (settings.lead, settings.pulses_per_rev, settings.engage_edges) == (1, 24, 16)
    assert (settings.power_limit_w, settings.selector_positions) == (500, 1)
    # British Columbia, no tolerance: 99 % of 32 km/h is 8800 mm/s, 3 km/h is 833.3 mm/s, to the safe side.
    assert (settings.cutoff_speed_mm_per_s, settings.engage_speed_mm_per_s) == (8800, 834)
    assert settings.throttle_unpedalled == 2
    # A speed controller at 500 W and 7.744 m/s: E = 39.276 V, I = 11.933 A (39.276 x 11.933 + 0.22 x
    # 11.933^2 = 500). 54.6 V sag by 0.11 x 9.16 A to 53.59 V; the share is 0.7818, and a whole share would be
    # 53.59 / (0.22 + 0.7818^2 x 0.11) = 186.6 A. 53.59 x (11.933 + 0.7818 x 186.6) = 8457 W over 2.8 V of
    # command: 3020 W a volt. SIMC, tight, by the half rule (Skogestad, J. Process Control 13, 2003, 291-309):
    # a lag of 25 ms and half of 20 ms of smoothing, the other half with 7.5 ms as dead time:
    # 0.035 s / (3020 W/V x 2 x 0.0175 s) = 331 uV/W.
    assert (settings.gain_uv_per_w, settings.integral_ms) == (331, 35)


def test_the_folding_bicycle_gives_these_settings():
    settings = load_bike("folding").firmware_settings
    # 12 edges a turn: a sixth is 2, but the first pitch of one channel takes 3.
    assert (settings.sensor_kind, settings.pulses_per_rev, settings.engage_edges) == (1, 6, 3)
    assert (settings.shunt_fitted, settings.throttle_fitted, settings.selector_positions) == (0, 0, 0)
    # At 6.110 m/s the wheel turns 25.257 rad/s and the motor makes 30.308 V; 250 W are drawn by 7.668 A
    # (30.308 x 7.668 + 0.3 x 7.668^2 = 250.0) of 22 A, so full command stands for 250 x 22 / 7.668 = 717.3 W.
    assert settings.open_map_full_w == 718


def test_without_a_shunt_a_speed_controller_is_believed_up_to_its_current_limit(tmp_path):
    bike = changed(tmp_path, ("motor_controller", "kind", '"speed"'), name="folding")
    assert bike.firmware_settings.open_map_full_w == 420  # 10 A at 42 V.


@pytest.mark.parametrize(
    ("side", "leads_on_the_right", "lead"),
    [("right", "A", 0), ("left", "A", 1), ("right", "B", 1), ("left", "B", 0)],
)
def test_the_lead_depends_on_the_side_of_the_crank_and_on_the_part(tmp_path, side, leads_on_the_right, lead):
    # Common practice, no source: B follows A one way round and leads it the other.
    bike = changed(
        tmp_path,
        ("pedal_sensor", "side", f'"{side}"'),
        ("pedal_sensor", "leads_on_the_right", f'"{leads_on_the_right}"'),
    )
    assert bike.firmware_settings.lead == lead
    assert bike.pedal_sensor.a_leads == (lead == 0)


@pytest.mark.parametrize("name", ["folding", "step_through"])
def test_a_single_wire_is_on_channel_a_unless_the_file_says_b_whatever_the_side(tmp_path, name):
    on_a = changed(
        tmp_path, ("pedal_sensor", "channel", '"A"'), ("pedal_sensor", "side", '"left"'), name=name
    )
    assert on_a.firmware_settings.lead == 0
    on_b = changed(
        tmp_path, ("pedal_sensor", "channel", '"B"'), ("pedal_sensor", "side", '"right"'), name=name
    )
    assert on_b.firmware_settings.lead == 1


def test_two_channels_use_both_wires_and_have_no_channel(tmp_path):
    told = refusal(tmp_path, ("pedal_sensor", "channel", '"B"'))
    assert "pedal_sensor.channel is B, allowed is A with two channels: both wires are used" in told


def test_the_step_through_gives_these_settings():
    settings = load_bike("step_through").firmware_settings
    assert (settings.sensor_kind, settings.lead, settings.forward_duty_high) == (2, 1, 1)
    assert (settings.pulses_per_rev, settings.wheel_pulses_per_rev) == (32, 4)
    assert (settings.shunt_fitted, settings.throttle_fitted, settings.heat_sensor_fitted) == (0, 0, 0)
    assert (settings.selector_positions, settings.selector_low_mv, settings.selector_high_mv) == (
        1,
        600,
        4300,
    )
    assert (settings.command_start_mv, settings.command_max_mv, settings.power_limit_w) == (1150, 3400, 250)


def test_a_wrong_lead_may_be_set_on_purpose_and_leaves_the_part_as_it_is(tmp_path):
    bike = changed(tmp_path, ("settings", "lead", 1))
    assert bike.firmware_settings.lead == 1
    assert bike.pedal_sensor.a_leads


def test_the_longest_edge_gap_is_that_of_the_ring_with_its_flaws(tmp_path):
    even = changed(
        tmp_path,
        ("pedal_sensor", "duty_percent", 50),
        ("pedal_sensor", "phase_deg", 90),
        ("pedal_sensor", "uneven_deg", 0),
    )
    assert even.firmware_settings.edge_gap_permille == 250  # Four even edges a pitch.
    # A rises at 0, falls at 0.5; B at 0.2 and 0.7 of a pitch: the longest gap is 0.3.
    shifted = changed(
        tmp_path,
        ("pedal_sensor", "duty_percent", 50),
        ("pedal_sensor", "phase_deg", 72),
        ("pedal_sensor", "uneven_deg", 0),
    )
    assert shifted.firmware_settings.edge_gap_permille == pytest.approx(300, abs=1)
    # Ten magnets, one of them 3.6 degrees late: a tenth of its pitch of 36 degrees.
    late = changed(
        tmp_path,
        ("pedal_sensor", "duty_percent", 50),
        ("pedal_sensor", "phase_deg", 90),
        ("pedal_sensor", "uneven_deg", 0),
        ("pedal_sensor", "angle_errors_deg", "[0, 0, 3.6, 0, 0, 0, 0, 0, 0, 0]"),
    )
    assert late.firmware_settings.edge_gap_permille == pytest.approx(350, abs=1)
    one_channel = changed(tmp_path, ("pedal_sensor", "uneven_deg", 0), name="folding")
    assert one_channel.firmware_settings.edge_gap_permille == 550  # High 45 %, so low 55 %.


@pytest.mark.parametrize(("duty_percent", "allowed"), [(19.9, False), (20, True), (80, True), (80.1, False)])
def test_pulses_that_the_firmware_may_take_for_noise_are_refused_on_one_channel(
    tmp_path, duty_percent, allowed
):
    even = ("pedal_sensor", "uneven_deg", 0)
    duty = ("pedal_sensor", "duty_percent", duty_percent)
    for name, kind in (("folding", '"one channel"'), ("folding", '"duty-coded"')):
        changes = (even, duty, ("pedal_sensor", "kind", kind))
        if allowed:
            changed(tmp_path, *changes, name=name)
        else:
            sentence = (
                f"pedal_sensor.duty_percent is {duty_percent:g}, allowed is 20 to 80 (percent) on a {kind}"
            )
            assert sentence in refusal(tmp_path, *changes, name=name)


@pytest.mark.parametrize(
    # Six magnets 60 degrees apart. With 75 % the low share (1 - 0.75 - e) / (1 - e) is 0.16 at e = 0.107, 6.4
    # degrees; with 20 % the high share 0.2 / (1 + e) is at e = 0.25, but 0.18 of a pitch, 10.8 degrees, is
    # the most for the edges to keep their order.
    ("duty_percent", "fits_deg", "too_much_deg", "most"),
    [(75, 6.4, 6.5, "6.43"), (20, 10.8, 10.9, "10.8"), (80, 2.8, 2.9, "2.86")],
)
def test_magnets_so_uneven_that_a_pulse_may_pass_for_noise_are_refused(
    tmp_path, duty_percent, fits_deg, too_much_deg, most
):
    def late(error_deg: float) -> tuple:
        errors = f"[0, 0, {error_deg}, 0, 0, 0]"
        return (
            ("pedal_sensor", "uneven_deg", 0),
            ("pedal_sensor", "duty_percent", duty_percent),
            ("pedal_sensor", "angle_errors_deg", errors),
        )

    changed(tmp_path, *late(fits_deg), name="folding")
    found = refusal(tmp_path, *late(too_much_deg), name="folding")
    assert f"moves neighbouring magnets {too_much_deg} apart, allowed is up to {most} (degrees)" in found


@pytest.mark.parametrize("pulses", [6, 10, 12, 24, 32])
def test_an_uneven_ring_is_as_uneven_as_it_says_at_most(tmp_path, pulses):
    bike = changed(tmp_path, ("pedal_sensor", "pulses_per_rev", pulses), ("pedal_sensor", "uneven_deg", 0.4))
    errors = bike.pedal_sensor.magnet_errors_deg()
    assert len(errors) == pulses
    assert 0.2 < max(abs(error) for error in errors) <= 0.4


def test_five_metres_of_cutoff_distance_need_switches_on_all_brakes(tmp_path):
    # EN 15194 4.2.13.1 b and c, by the parallel text TBIS 15194:2019.
    assert (
        changed(tmp_path, ("settings", "cutoff_distance_mm", None)).firmware_settings.cutoff_distance_mm
        == 5000
    )
    some = changed(tmp_path, ("settings", "cutoff_distance_mm", None), ("brakes", "switches", '"some"'))
    assert some.firmware_settings.cutoff_distance_mm == 2000


@pytest.mark.parametrize(("name", "cutoff_km_per_h"), [("cargo_trike", 25), ("folding", 25), ("tandem", 32)])
def test_each_example_motor_runs_faster_than_the_cutoff_and_is_no_racer(name, cutoff_km_per_h):
    # No-load speed of a DC machine: (V - I0 R) / Kt (Kt = Ke in SI: eurari.com, DC motor guide).
    bike = load_bike(name)
    motor = bike.motor
    no_load_v = bike.battery.full_v - motor.no_load_current_a * motor.resistance_ohm
    rad_per_s = no_load_v / motor.torque_constant_nm_per_a
    km_per_h = rad_per_s * bike.bicycle.wheel_circumference_m / (2 * pi) * 3.6
    assert cutoff_km_per_h + 3 < km_per_h < cutoff_km_per_h + 9
    torque_nm = (motor.current_limit_a - motor.no_load_current_a) * motor.torque_constant_nm_per_a
    assert 25 < torque_nm < 60


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("motor", "resistance_ohm", -1), "motor.resistance_ohm is -1, allowed is 0.01 to 5 (ohm)"),
        (("motor", "resistance_ohm", "inf"), "motor.resistance_ohm is inf, allowed is 0.01 to 5 (ohm)"),
        (("motor", "resistance_ohm", "nan"), "motor.resistance_ohm is nan, allowed is 0.01 to 5 (ohm)"),
        (("motor", "resistance_ohm", "true"), "motor.resistance_ohm is true, allowed is 0.01 to 5 (ohm)"),
        (("motor", "resistance_ohm", '"0.3"'), 'motor.resistance_ohm is "0.3", allowed is 0.01 to 5 (ohm)'),
        (("motor", "resistance_ohm", None), "motor.resistance_ohm is missing, allowed is 0.01 to 5 (ohm)"),
        (("motor", "resistance", 0.3), "motor.resistance is not a known key, did you mean resistance_ohm?"),
        (("motor", "has_temperature_sensor", 1), "has_temperature_sensor is 1, allowed is true or false"),
        (("bicycle", "own_mass_kg", "1979-05-27"), "own_mass_kg is 1979-05-27, allowed is 5 to 150 (kg)"),
        (("pedal_sensor", "pulses_per_rev", 3), "pulses_per_rev is 3, allowed is a whole number, 4 to 64"),
        (
            ("pedal_sensor", "pulses_per_rev", 10.0),
            "pulses_per_rev is 10.0, allowed is a whole number, 4 to 64",
        ),
        (("pedal_sensor", "side", '"top"'), 'pedal_sensor.side is "top", allowed is "right" or "left"'),
        (("pedal_sensor", "angle_errors_deg", "[1, true]"), "pedal_sensor.angle_errors_deg 2 is true"),
        (("motor_controller", "kind", '"torqe"'), 'kind is "torqe", allowed is "torque" or "speed"'),
        (
            ("motor_controller", "full_v", 1.5),
            "motor_controller.full_v is 1.5, allowed is 1.6 (start_v and half",
        ),
        (
            ("motor_controller", "battery_current_limit_a", 1),
            "motor.no_load_current_a is 0.8, allowed is up to half of the lower limit, 0.5 (A)",
        ),
        (("motor", "no_load_current_a", 5), ""),
        (("battery", "empty_v", 42), "battery.full_v is 42, allowed is 43 (empty_v and a volt) or more (V)"),
        (("battery", "resistance_ohm", 2), "battery_current_limit_a is 15, allowed is up to 7.75 (A)"),
        (
            ("bicycle", "development_low_m", 6),
            "bicycle.development_high_m is 5.6, allowed is 6 (development_low_m)",
        ),
        (("bicycle", "development_high_m", 12), ""),
        (
            ("bicycle", "wheel_circumference_m", 0.6),
            "bicycle.development_high_m is 5.6, allowed is 0.3 to 4.2 (m)",
        ),
        (("pedal_sensor", "phase_deg", 40), ""),
        (
            ("pedal_sensor", "duty_percent", 25),
            "pedal_sensor.phase_deg is 84 with duty_percent 25, allowed is what",
        ),
        (("pedal_sensor", "uneven_deg", 15), "pedal_sensor.uneven_deg moves neighbouring magnets"),
        (
            ("pedal_sensor", "angle_errors_deg", "[1, 2]"),
            "pedal_sensor.uneven_deg is 1.5, allowed is 0 (degrees)",
        ),
        (
            ("pedal_sensor", "kind", '"duty-coded"'),
            "pedal_sensor.duty_percent is 48, allowed is 20 to 45 or 55",
        ),
        (
            ("throttle", "rest_v", 3.2),
            "throttle.full_v is 3.6, allowed is 3.7 (rest_v and half a volt) or more",
        ),
        (
            ("selector", "high_v", 1),
            "selector.high_v is 1, allowed is 1.1 (low_v and half a volt) or more (V)",
        ),
        (("selector", "positions", None), "selector.positions is missing, allowed is a whole number, 2 to 6"),
        (
            ("selector", "positions", 3),
            "selector.shares_percent is a list of 4, allowed is one share for each of 3",
        ),
        (
            ("selector", "shares_percent", "[0, 35, 70, 101]"),
            "selector.shares_percent 4 is 101, allowed is 0 to 100",
        ),
        (("selector", "kind", '"potentiometer"'), "selector.positions is 4, allowed is a key of kind"),
        (("settings", "engage_rmp", 20), "settings.engage_rmp is not a known key, did you mean engage_rpm?"),
        (("settings", "engage_rpm", 61), "settings.engage_rpm is 61, allowed is 5 to 60"),
        (("settings", "engage_rpm", 20.5), "settings.engage_rpm is 20.5, allowed is a whole number"),
        (
            ("settings", "engage_rpm", 12),
            "settings: release_rpm must be lower than engage_rpm, got 12 and 12",
        ),
        (
            ("settings", "engage_edges", 4),
            "settings: engage_edges must be 5 or more with sensor_kind 0, got 4",
        ),
        (("settings", "power_limit_w", 251), "settings.power_limit_w is 251, allowed is up to 250 (W) in eu"),
        (
            ("settings", "cutoff_speed_mm_per_s", 6945),
            "cutoff_speed_mm_per_s is 6945, allowed is up to 6944 (mm/s)",
        ),
        (("settings", "startup_speed_mm_per_s", 1700), "is 1700, allowed is up to 1666 (mm/s) in eu"),
        (
            ("settings", "throttle_unpedalled", 2),
            "settings.throttle_unpedalled is 2, allowed is up to 1 (below",
        ),
        (("motor", "rated_power_w", 251), "motor.rated_power_w is 251, allowed is up to 250 (W) in eu"),
        (("", "place", '"utopia"'), 'place "utopia" is not known'),
        (("", "place", '"japan"'), 'place "japan" has no profile'),
        (("", "extra", 1), "extra is not a known key"),
        (("", "title", '""'), 'title is "", allowed is a text in quotes of 1 to 100 characters'),
        (("pedal_sensor", "hysteresis_deg", 10), ""),
        (
            ("settings", "lead", "9" * 400),
            "settings.lead is a number of more than 15 digits, allowed is 0 to 1",
        ),
        (("settings", "lead", "{}"), "settings.lead is a table, allowed is a whole number"),
        (
            ("selector", "shares_percent", "[]"),
            "selector.shares_percent is a list of 0, allowed is one share",
        ),
    ],
)
def test_a_wrong_key_is_refused_in_one_sentence(tmp_path, change, sentence):
    if sentence:
        assert sentence in refusal(tmp_path, change)
    else:
        changed(tmp_path, change)  # At the end of its range, and still a bicycle.


def test_a_list_of_magnet_errors_has_one_for_each_and_hysteresis_is_below_half_a_pitch(tmp_path):
    even = ("pedal_sensor", "uneven_deg", 0)
    told = refusal(tmp_path, even, ("pedal_sensor", "angle_errors_deg", "[1, 2]"))
    assert told == "pedal_sensor.angle_errors_deg is a list of 2, allowed is one for each of 10"
    # 24 pulses are 15 degrees apart.
    told = refusal(tmp_path, ("pedal_sensor", "hysteresis_deg", 8), name="tandem")
    assert told == "pedal_sensor.hysteresis_deg is 8, allowed is up to half a pitch, 7.5 (degrees)"
    told = refusal(tmp_path, ("selector", "shares_percent", "[1, 2]"), name="tandem")
    assert told == 'selector.shares_percent is a list of 2, allowed is a key of kind "positions" only'


def test_the_settings_that_a_place_bounds_from_below_are_kept(tmp_path):
    told = refusal(tmp_path, ("settings", "engage_speed_mm_per_s", 833), name="tandem")
    assert told == "settings.engage_speed_mm_per_s is 833, allowed is 834 or more (mm/s) in british_columbia"
    told = refusal(tmp_path, ("brakes", "switches", '"none"'), name="tandem")
    assert told.startswith('brakes.switches is "none", allowed is "all" or "some" in british_columbia: ')


def test_less_than_750_watts_means_749(tmp_path):
    # 15 USC 2085(b): "less than 750 watts".
    strict = changed(tmp_path, ("", "place", '"us_federal"'), ("motor", "rated_power_w", 749.5))
    assert strict.firmware_settings.power_limit_w == 749
    assert "allowed is below 750 (W)" in refusal(
        tmp_path, ("", "place", '"us_federal"'), ("motor", "rated_power_w", 750)
    )


def test_what_is_no_bike_file_is_refused(tmp_path):
    (tmp_path / "latin.toml").write_bytes(b'title = "caf\xe9"\n')
    (tmp_path / "torn.toml").write_text(TRIKE[:700] + '\nx = "', encoding="utf-8")
    (tmp_path / "empty.toml").write_text("")
    (tmp_path / "huge.toml").write_bytes(b"#" * 1_000_001)
    (tmp_path / "folder.toml").mkdir()
    for wrong, sentence in [
        (tmp_path / "latin.toml", "latin.toml line 1: byte 0xe9 is not UTF-8 text"),
        (tmp_path / "torn.toml", "torn.toml: this is not TOML"),
        (tmp_path / "empty.toml", "empty.toml: title is missing, allowed is a text in quotes"),
        (tmp_path / "huge.toml", "huge.toml: it is longer than 1000000 bytes"),
        (tmp_path / "folder.toml", "this is a directory"),
        (tmp_path / "none.toml", "there is no such file"),
        (
            "trike",
            "no bike is called 'trike'; there are cargo_trike, folding, step_through, tandem, or give a file",
        ),
        ("", "this is a directory"),
        ("/dev/null", "this is not an ordinary file"),
    ]:
        with pytest.raises(RequestError, match=sentence):
            load_bike(wrong)


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = tmp_path / "windows.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TRIKE.replace("\n", "\r\n").encode())
    assert load_bike(path).title == "Cargo trike of the repair café"


def paths_of(table, before=()):
    for key, value in table.items():
        yield (*before, key)
        if isinstance(value, dict):
            yield from paths_of(value, (*before, key))


GOOD = {name: tomllib.loads((BIKES / f"{name}.toml").read_text(encoding="utf-8")) for name in example_names()}
CHANGES = [(name, path) for name, table in GOOD.items() for path in paths_of(table)]
ODD = st.sampled_from(
    [
        "-1",
        "0",
        "1e308",
        "-1e-320",
        "nan",
        "-inf",
        "true",
        '""',
        '"x"',
        "[]",
        "[[]]",
        "{}",
        "{a = 1}",
        "07:32:00",
    ]
) | (st.floats() | st.integers()).map(str)


def written(value):
    """Write a table as TOML, strings of the examples only."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {written(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(written(inner) for inner in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return (
        f'"{value}"'
        if isinstance(value, str) and not value.startswith("\0")
        else str(value).removeprefix("\0")
    )


def loads_or_is_refused(path):
    with suppress(RequestError):
        settings = load_bike(path).firmware_settings
        for name, _, lowest, highest, _ in TABLE:
            assert lowest <= getattr(settings, name) <= highest


@given(changes=st.lists(st.tuples(st.sampled_from(CHANGES), ODD), min_size=1, max_size=3))
def test_any_value_in_any_key_loads_or_is_refused(tmp_path_factory, changes):
    name = changes[0][0][0]
    table = tomllib.loads((BIKES / f"{name}.toml").read_text(encoding="utf-8"))
    for (of, path), value in changes:
        inner = table
        for part in path[:-1]:
            inner = inner.get(part, {}) if isinstance(inner, dict) else {}
        if of == name and isinstance(inner, dict):
            inner[path[-1]] = "\0" + value
    file = tmp_path_factory.mktemp("bike") / "changed.toml"
    file.write_text("\n".join(f"{key} = {written(value)}" for key, value in table.items()), encoding="utf-8")
    loads_or_is_refused(file)


@given(at=st.integers(0, len(TRIKE)), cut=st.integers(0, 30), put=st.binary(max_size=6))
def test_any_damage_to_a_bike_file_loads_or_is_refused(tmp_path_factory, at, cut, put):
    content = TRIKE.encode()
    file = tmp_path_factory.mktemp("bike") / "damaged.toml"
    file.write_bytes(content[:at] + put + content[at + cut :])
    loads_or_is_refused(file)


@given(
    st.fixed_dictionaries(
        {
            ("battery", "full_v"): st.floats(10, 95),
            ("battery", "empty_v"): st.floats(10, 75),
            ("throttle", "rest_v"): st.floats(0.2, 3.9),
            ("throttle", "full_v"): st.floats(0.7, 4.4),
            ("selector", "low_v"): st.floats(0.3, 4),
            ("selector", "high_v"): st.floats(0.8, 4.6),
            ("motor_controller", "start_v"): st.floats(0, 3),
            ("motor_controller", "full_v"): st.floats(0.5, 5),
            ("motor_controller", "lag_s"): st.floats(0.001, 0.1),
            ("pedal_sensor", "pulses_per_rev"): st.integers(4, 64),
            ("motor", "rated_power_w"): st.floats(50, 250),
        }
    )
)
def test_whatever_passes_the_ranges_has_settings_or_a_sentence_about_the_bike(tmp_path_factory, values):
    # What is derived must lie in the table by itself: a word about [settings] would mislead.
    table = tomllib.loads(TRIKE)
    for (section, key), value in values.items():
        table[section][key] = value
    table["settings"] = {}
    table["pedal_sensor"]["uneven_deg"] = 0
    table["pedal_sensor"]["hysteresis_deg"] = 0
    file = tmp_path_factory.mktemp("bike") / "drawn.toml"
    file.write_text("\n".join(f"{key} = {written(value)}" for key, value in table.items()), encoding="utf-8")
    try:
        load_bike(file)
    except RequestError as refused:
        if "settings" in str(refused):
            raise AssertionError(str(refused)) from refused
