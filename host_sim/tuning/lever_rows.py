"""The rows that are computed: selector shares, throttle, and the fold-backs of battery and heat."""

from host_sim.tuning import levers
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.row import SHARES, Row, row


def lever_rows(tuned: Tuned) -> list[Row]:
    """Return the rows of what hands set and of the fold-backs."""
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
        rows.append(row(tuned, SHARES, tuned.shares_percent, why, *speeds))
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
    rows.append(row(tuned, "battery_foldback_mv", changes["battery_foldback_mv"], why, *gains))
    if "heat_foldback_decicelsius" in changes:
        span_k = (now.heat_limit_decicelsius - changes["heat_foldback_decicelsius"]) / 10.0
        rate = levers.heating_k_per_s(bike)
        why = f"at its limit current warms the winding by {rate:.2f} K/s: {span_k:.0f} K to fade (computed)"
        spans = [
            {"seconds_to_limit": (now.heat_limit_decicelsius - value) / 10.0 / rate}
            for value in (now.heat_foldback_decicelsius, changes["heat_foldback_decicelsius"])
        ]
        rows.append(
            row(tuned, "heat_foldback_decicelsius", changes["heat_foldback_decicelsius"], why, *spans)
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
        row(tuned, "throttle_rest_mv", rest_mv, why, *dead),
        row(tuned, "throttle_full_mv", full_mv, why, *dead),
    ]
