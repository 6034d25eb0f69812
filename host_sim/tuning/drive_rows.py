"""The rows about power: rise and fall rate, power loop or open map, and how much help there is."""

from host_sim.tuning.loop_report import LoopReport
from host_sim.tuning.rates import empty_mass_kg, fall_for, push_n_per_v
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.row import Row, row


def drive_rows(tuned: Tuned) -> list[Row]:
    """Return the rows of the rates, and of the power loop or the open map."""
    bike, settings = tuned.bike, tuned.drive.recommended
    pushes = [
        {
            "jerk_m_per_s3": one.drive.jerk_m_per_s3,
            "push_on_rider_n_per_s": one.drive.jerk_m_per_s3 * bike.bicycle.rider_kg,
            "half_s": one.drive.half_s,
            "reach_s": one.drive.reach_s,
        }
        for one in (tuned.before, tuned.after)
    ]
    now = bike.firmware_settings
    whole_mv = now.command_max_mv - now.command_start_mv
    fall = tuned.changes["fall_mv_per_s"]
    rows = [
        row(
            tuned,
            "rise_mv_per_s",
            settings.rise_mv_per_s,
            f"a volt is {push_n_per_v(bike):.0f} N on {empty_mass_kg(bike):.0f} kg; comfort limit "
            f"{tuned.priority.jerk_m_per_s3:g} m/s3 (common practice, no source) against waiting for power"
            + _over_the_limit(tuned),
            *pushes,
        ),
        row(
            tuned,
            "fall_mv_per_s",
            fall_for(bike, tuned.changes["rise_mv_per_s"]),
            "four times the rise rate, and the whole range within a second (computed)",
            {"whole_range_s": whole_mv / now.fall_mv_per_s},
            {"whole_range_s": whole_mv / fall},
        ),
    ]
    if tuned.loop is not None:
        return rows + _loop_rows(tuned, tuned.loop)
    return rows if bike.shunt.fitted else rows + _open_rows(tuned)


def _over_the_limit(tuned: Tuned) -> str:
    if tuned.after.drive.jerk_m_per_s3 <= tuned.priority.jerk_m_per_s3:
        return ""
    return "; the jerk stays above it, since a lower rate would cost more in waiting"


def _loop_rows(tuned: Tuned, loop: LoopReport) -> list[Row]:
    settings = tuned.drive.recommended
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
    why_integral = "SIMC: the lag of the plant; longer and shorter ones were ridden too"
    return [
        row(tuned, "gain_uv_per_w", settings.gain_uv_per_w, why, *numbers),
        row(tuned, "integral_ms", settings.integral_ms, why_integral, *numbers),
    ]


def _open_rows(tuned: Tuned) -> list[Row]:
    why = (
        "no shunt, so no loop and no margins: computed for the speed where power begins to fade; below it "
        "the motor draws less"
    )
    return [row(tuned, "open_map_full_w", tuned.changes["open_map_full_w"], why, {}, {})]


def road_rows(tuned: Tuned) -> list[Row]:
    """Return the row of the assist power, for priorities that choose it."""
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
    return [row(tuned, "assist_power_w", watts, why, *numbers)]
