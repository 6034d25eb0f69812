"""The rows about the crank: what follows from the sensor, and the thresholds of engaging and releasing."""

from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS
from host_sim.tuning.recommend import Tuned, plain_settings
from host_sim.tuning.row import Row, row
from host_sim.tuning.stop_rides import CADENCE_RPM


def sensor_rows(tuned: Tuned) -> list[Row]:
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
        rows.append(row(tuned, "lead", plain.lead, why, {}, {}))
    if plain.sensor_kind == DUTY_CODED:
        why = f"the sensor is high for {sensor.duty_percent:g} % of a pitch when turning forward"
        rows.append(row(tuned, "forward_duty_high", plain.forward_duty_high, why, {}, {}))
    why = f"the ring has {sensor.pulses_per_rev} magnets or pole pairs"
    rows.append(row(tuned, "pulses_per_rev", plain.pulses_per_rev, why, {}, {}))
    return rows


def threshold_rows(tuned: Tuned) -> list[Row]:
    """Return the rows of engaging and releasing."""
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

    def best(setting: str) -> int:
        """Return the chosen value, or for a setting that keeps its value the one that would be chosen."""
        choice = tuned.engage if setting.startswith("engage") else tuned.release
        value: int = getattr(choice.before_keeping if setting in tuned.keep else choice.chosen, setting)
        return value

    return [
        row(tuned, "engage_edges", best("engage_edges"), edges_why, *waits),
        row(
            tuned,
            "engage_rpm",
            best("engage_rpm"),
            "of the cadences that delay no start and let no more false starts through, the nearest to the "
            "present one",
            *waits,
        ),
        row(
            tuned,
            "release_rpm",
            best("release_rpm"),
            f"sees a stop soon, and still lets uneven legs go on at {slowest:.0f} rpm on a climb: "
            f"{release.measures.lapses_per_min:.1f} lapses a minute",
            *stops,
        ),
        row(
            tuned,
            "stop_pitch_percent",
            best("stop_pitch_percent"),
            f"at {CADENCE_RPM:.0f} rpm and speed a stop then takes {after.stops.run_on_s:.2f} s and "
            f"{after.stops.distance_m:.2f} m. {robust_price(tuned)}",
            *stops,
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
