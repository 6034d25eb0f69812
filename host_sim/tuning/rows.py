"""The recommendation as rows: setting, now, recommended, why, assumes, check, before and after."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS
from host_sim.tuning import levers
from host_sim.tuning.advice import ADVICE
from host_sim.tuning.loop_report import rounded, step_plant
from host_sim.tuning.rates import empty_mass_kg, fall_for, push_n_per_v
from host_sim.tuning.recommend import Tuned, plain_settings
from host_sim.tuning.stop_rides import CADENCE_RPM
from host_sim.units import KM_PER_H_PER_M_PER_S

Numbers = Mapping[str, float | None]
SHARES = "selector.shares_percent"
BACKED_OFF = "held back, so that no rule does worse than before"


@dataclass(frozen=True, slots=True)
class Row:
    """One recommendation; `before`, `after` are measured on the bench, or computed where `why` says so.

    `spread` says what single draws of the rides recommend; "" if no ride decides.
    """

    setting: str
    now: Any
    recommended: Any
    spread: str
    why: str
    assumes: str
    check: str
    before: Numbers
    after: Numbers

    def as_json(self) -> dict[str, Any]:
        """Return the row by name."""
        return asdict(self)


def rows_of(tuned: Tuned) -> list[Row]:
    """Return a row for everything that was looked at, changed or not."""
    threshold_rows = [*_sensor_rows(tuned), *_threshold_rows(tuned)]
    return [*threshold_rows, *_drive_rows(tuned), *_road_rows(tuned), *_lever_rows(tuned)]


def _road_rows(tuned: Tuned) -> list[Row]:
    if tuned.road is None:
        return []
    numbers = [
        {
            "wh_per_km": one.road.wh_per_km,
            "min_per_km": one.road.min_per_km,
            "range_km": one.road.range_km(tuned.bike),
        }
        for one in (tuned.before, tuned.after)
    ]
    watts = tuned.road.chosen.assist_power_w
    why = (
        "the most help whose kilometre takes two thirds of the energy that "
        f"{tuned.road.full.assist_power_w} W take, on a way with two level kilometres for one up 3 %, with "
        "75 W of legs: half as far again on a battery"
    )
    return [_row(tuned, "assist_power_w", watts, why, numbers[0], numbers[1])]


def _row(tuned: Tuned, setting: str, recommended: Any, why: str, before: Numbers, after: Numbers) -> Row:
    advice = ADVICE[setting]
    now = (
        tuned.bike.selector.shares_percent
        if setting == SHARES
        else getattr(tuned.bike.firmware_settings, setting)
    )
    clean = [{name: rounded(value) for name, value in numbers.items()} for numbers in (before, after)]
    spreads = tuned.engage.spreads | tuned.release.spreads
    spread = spreads[setting].words() if setting in spreads else ""
    if setting in tuned.changes and tuned.changes[setting] != recommended:
        reason = "kept as requested" if setting in tuned.keep else BACKED_OFF
        why = f"{reason}; {recommended} would be recommended: {why}"
        recommended = tuned.changes[setting]
    return Row(setting, now, recommended, spread, why, advice.assumes, advice.check, clean[0], clean[1])


def _sensor_rows(tuned: Tuned) -> list[Row]:
    """Return rows that follow from the parts; they differ from now only where [settings] overrides them."""
    bike = tuned.bike
    plain = plain_settings(bike)
    rows = []
    sensor = bike.pedal_sensor
    if plain.sensor_kind == TWO_CHANNELS:
        leads = "A" if sensor.a_leads else "B"
        why = (
            f"the sensor is on the {sensor.side} side, where channel {leads} changes first when turning "
            f"forward"
        )
        rows.append(_row(tuned, "lead", plain.lead, why, {}, {}))
    if plain.sensor_kind == DUTY_CODED:
        why = f"the sensor is high for {sensor.duty_percent:g} % of a pitch when turning forward"
        rows.append(_row(tuned, "forward_duty_high", plain.forward_duty_high, why, {}, {}))
    why = f"the ring has {sensor.pulses_per_rev} magnets or pole pairs"
    rows.append(_row(tuned, "pulses_per_rev", plain.pulses_per_rev, why, {}, {}))
    return rows


def _threshold_rows(tuned: Tuned) -> list[Row]:
    before, after = tuned.before, tuned.after
    engage, release = tuned.engage.chosen, tuned.release.chosen
    kind = tuned.bike.firmware_settings.sensor_kind
    edges_per_turn = tuned.bike.pedal_sensor.pulses_per_rev * (4 if kind == TWO_CHANNELS else 2)
    waits = [
        {
            "help_after_s": one.delay_s,
            "latest_help_after_s": one.late_s,
            "false_starts_percent": 100.0 * one.false_share,
        }
        for one in (before.engage, after.engage)
    ]
    stops = [
        {
            "run_on_s": one.release.run_on_s,
            "lapses_per_min": one.release.lapses_per_min,
            "lapses_with_a_magnet_missing_per_min": one.release.missing_lapses_per_min,
            "cutoff_distance_m": one.stops.distance_m,
        }
        for one in (before, after)
    ]
    turn = 360.0 * engage.engage_edges / edges_per_turn
    edges_why = (
        f"the earliest that nudges, rocking and shaking rarely trigger: {turn:.0f} degrees of the crank, "
        f"{100.0 * engage.measures.false_share:.0f} % false starts"
    )
    if kind == ONE_CHANNEL:
        edges_why += "; one channel can't tell forward from backward, so rocking counts as pedalling"
    slowest = tuned.release.slowest_rpm
    return [
        _row(tuned, "engage_edges", engage.engage_edges, edges_why, waits[0], waits[1]),
        _row(
            tuned,
            "engage_rpm",
            engage.engage_rpm,
            "the middle of the cadences that delay no start and let no more false starts through",
            waits[0],
            waits[1],
        ),
        _row(
            tuned,
            "release_rpm",
            release.release_rpm,
            f"sees a stop soon, and still lets uneven legs go on at {slowest:.0f} rpm on a climb: "
            f"{release.measures.lapses_per_min:.1f} lapses a minute",
            stops[0],
            stops[1],
        ),
        _row(
            tuned,
            "stop_pitch_percent",
            release.stop_pitch_percent,
            f"at {CADENCE_RPM:.0f} rpm and speed a stop then takes {after.stops.run_on_s:.2f} s and "
            f"{after.stops.distance_m:.2f} m. {robust_price(tuned)}",
            stops[0],
            stops[1],
        ),
    ]


def robust_price(tuned: Tuned) -> str:
    """Return the cost and the benefit of settings that tolerate a ring with a flaw, with numbers."""
    chosen, sound = tuned.release.chosen, tuned.release.sound
    lost = sound.measures.missing_lapses_per_min
    saved = lost - chosen.measures.missing_lapses_per_min
    later_ms = 1000.0 * (chosen.measures.run_on_s - sound.measures.run_on_s)
    words = "A ring with a flaw needs the same settings as a sound one"
    if saved >= 1.0 or later_ms >= 1.0:
        words = (
            f"Chosen for rings with a magnet missing or weak too; the price: a stop is seen {later_ms:.0f} "
            f"ms later than with {sound.release_rpm} rpm and {sound.stop_pitch_percent} %, the best for a "
            f"sound ring. With a magnet missing that lapses {lost:.0f} times a minute at everyday "
            f"cadences, this {chosen.measures.missing_lapses_per_min:.0f} times"
        )
    if tuned.release.incurable_per_min >= 1.0:
        words += (
            f". No setting cures the {tuned.release.incurable_per_min:.0f} lapses a minute of this kind of "
            "ring with a magnet missing"
        )
    return words


def _drive_rows(tuned: Tuned) -> list[Row]:
    bike, settings = tuned.bike, tuned.drive.recommended
    pushes = [
        {
            "jerk_m_per_s3": one.drive.jerk_m_per_s3,
            "push_on_rider_n_per_s": one.drive.jerk_m_per_s3 * tuned.bike.bicycle.rider_kg,
            "half_s": one.drive.half_s,
            "reach_s": one.drive.reach_s,
        }
        for one in (tuned.before, tuned.after)
    ]
    now = bike.firmware_settings
    whole_mv = now.command_max_mv - now.command_start_mv
    fall = tuned.changes["fall_mv_per_s"]
    rows = [
        _row(
            tuned,
            "rise_mv_per_s",
            settings.rise_mv_per_s,
            f"a volt is {push_n_per_v(bike):.0f} N on {empty_mass_kg(bike):.0f} kg; comfort limit "
            f"{tuned.priority.jerk_m_per_s3:g} m/s3 (common practice, no source) against waiting for power"
            + _over_the_limit(tuned)
            + _dead_travel(tuned),
            pushes[0],
            pushes[1],
        ),
        _row(
            tuned,
            "fall_mv_per_s",
            fall_for(bike, tuned.changes["rise_mv_per_s"]),
            "four times the rise rate, and the whole range within a second (computed)",
            {"whole_range_s": whole_mv / now.fall_mv_per_s},
            {"whole_range_s": whole_mv / fall},
        ),
    ]
    if tuned.loop is not None:
        return rows + _loop_rows(tuned)
    return rows if bike.shunt.fitted else rows + _open_rows(tuned)


def _over_the_limit(tuned: Tuned) -> str:
    if tuned.after.drive.jerk_m_per_s3 <= tuned.priority.jerk_m_per_s3:
        return ""
    return "; the jerk stays above it, since a lower rate would cost more in waiting"


def _dead_travel(tuned: Tuned) -> str:
    """Return how long a speed controller's rider waits for the command to catch up with the speed."""
    if tuned.bike.motor_controller.kind != "speed" or not tuned.plants:
        return ""
    plant = step_plant(tuned.bike, tuned.plants)
    command_start_v = tuned.bike.firmware_settings.command_start_mv / 1000.0
    travel_v = plant.command_v - plant.power_w / plant.lags.gain - command_start_v
    wait_s = travel_v * 1000.0 / tuned.drive.chosen.settings.rise_mv_per_s
    return (
        f"; at {plant.point.speed_m_per_s * KM_PER_H_PER_M_PER_S:.0f} km/h a speed controller "
        f"gives nothing over the first "
        f"{travel_v:.1f} V of command, {wait_s:.1f} s of the wait"
    )


def _loop_rows(tuned: Tuned) -> list[Row]:
    loop, settings = tuned.loop, tuned.drive.recommended
    if loop is None:
        return []
    numbers = [
        {
            "overshoot_percent": one.drive.overshoot_percent,
            "settling_s": one.drive.settling_s,
            "swing_percent": one.drive.swing_percent,
            "disturbance_percent": one.drive.disturbance_percent,
            "recovery_s": one.drive.recovery_s,
        }
        for one in (tuned.before, tuned.after)
    ]
    worst, model = loop.worst.margins, loop.model
    why = (
        f"a volt moves up to {model.gain:.0f} W, lag {model.lag_s * 1000.0:.0f} ms, dead time "
        f"{model.dead_time_s * 1000.0:.0f} ms: SIMC, then ridden; worst gain margin {worst.gain:.1f}, phase "
        f"{worst.phase_deg:.0f} degrees, delay {worst.delay_s * 1000.0:.0f} ms, Ms {worst.sensitivity:.2f}. "
        + loop.surge.sentence(tuned.bike)
    )
    return [
        _row(tuned, "gain_uv_per_w", settings.gain_uv_per_w, why, numbers[0], numbers[1]),
        _row(
            tuned,
            "integral_ms",
            settings.integral_ms,
            "SIMC: the lag of the plant; longer and shorter ones were ridden too",
            numbers[0],
            numbers[1],
        ),
    ]


def _open_rows(tuned: Tuned) -> list[Row]:
    why = (
        "no shunt, so no loop and no margins: computed for the speed where power begins to fade; below it "
        "the motor draws less"
    )
    return [_row(tuned, "open_map_full_w", tuned.changes["open_map_full_w"], why, {}, {})]


def _lever_rows(tuned: Tuned) -> list[Row]:
    bike, changes = tuned.bike, tuned.changes
    rows = []
    if tuned.shares_percent is not None:
        speeds = [
            {
                f"position_{number}_km_per_h": levers.felt_speed_km_per_h(bike, share / 100.0)
                for number, share in enumerate(shares, start=1)
            }
            for shares in (bike.selector.shares_percent, tuned.shares_percent)
        ]
        why = "each position adds the same speed up 2 % with 75 W of legs (computed from the road load)"
        rows.append(_row(tuned, SHARES, tuned.shares_percent, why, *speeds))
    if bike.throttle.fitted:
        rows += _throttle_rows(tuned)
    now = bike.firmware_settings
    gains = [
        {"loop_gain": levers.battery_loop_gain(bike, foldback)}
        for foldback in (now.battery_foldback_mv, changes["battery_foldback_mv"])
    ]
    why = (
        "less power means less sag means more power: below a loop gain of 0.5 this does not see-saw, and "
        "full power at the start of the fade still leaves the pack above empty (computed)"
    )
    rows.append(_row(tuned, "battery_foldback_mv", changes["battery_foldback_mv"], why, *gains))
    if "heat_foldback_decicelsius" in changes:
        span_k = (now.heat_limit_decicelsius - changes["heat_foldback_decicelsius"]) / 10.0
        rate = levers.heating_k_per_s(bike)
        why = f"at its limit current warms the winding by {rate:.2f} K/s: {span_k:.0f} K to fade (computed)"
        spans = [
            {"seconds_to_limit": (now.heat_limit_decicelsius - value) / 10.0 / rate}
            for value in (now.heat_foldback_decicelsius, changes["heat_foldback_decicelsius"])
        ]
        rows.append(
            _row(tuned, "heat_foldback_decicelsius", changes["heat_foldback_decicelsius"], why, *spans)
        )
    return rows


def _throttle_rows(tuned: Tuned) -> list[Row]:
    bike, now = tuned.bike, tuned.bike.firmware_settings
    travel_mv = (bike.throttle.full_v - bike.throttle.rest_v) * 1000.0
    rest_mv, full_mv = tuned.changes["throttle_rest_mv"], tuned.changes["throttle_full_mv"]
    dead = [
        {"travel_without_effect_percent": 100.0 * (1.0 - (high - low) / travel_mv)}
        for low, high in ((now.throttle_rest_mv, now.throttle_full_mv), (rest_mv, full_mv))
    ]
    why = "a twentieth of the travel as play, 80 to 150 mV (common practice, no source; computed)"
    return [
        _row(tuned, "throttle_rest_mv", rest_mv, why, *dead),
        _row(tuned, "throttle_full_mv", full_mv, why, *dead),
    ]
