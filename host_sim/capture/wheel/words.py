"""The advice that follows from a wheel sensor's findings: one sentence each."""

from host_sim.capture.wheel.inspection import WheelInspection
from host_sim.capture.wire_words import NOISE_TOLD_PER_S

FEW_OF = 0.2
MORE_TIMES = 4.0  # Ratio between the two ends of the speed range, by share of pulses.


def wheel_advice(found: WheelInspection) -> list[str]:
    """Return what to do; none if everything is all right."""
    if len(found.pulses.rise_s) < 4:
        return ["hardly any pulses: turn the wheel while recording; if it turned, check plug and supply"]
    # Noise first: it splits and hides pulses, which looks like doubled and lost ones.
    return [*_turn(found), *_noise(found), *_lost(found), *_doubled(found), *_bike(found)]


def _turn(found: WheelInspection) -> list[str]:
    turn = found.turn
    said = []
    if turn.missing:
        names = "a magnet is" if turn.missing == 1 else f"{turn.missing} magnets are"
        said.append(
            f"{names} missing (of {turn.pulses.value}), at the same place in every turn: put it back; "
            f"otherwise the speed reads too low there, and help continues beyond the cut-off speed"
        )
    if not turn.pulses.sure:
        probably = f", probably {turn.pulses.value}" if turn.pulses.value else ""
        said.append(
            f"the pulses alone don't show how many magnets there are{probably}: push the bicycle straight "
            f"ahead for exactly 5 turns of the wheel while recording, measure the distance, and give "
            f"--pushed METRES:TURNS, for example --pushed 10.5:5"
        )
    return said


def _lost(found: WheelInspection) -> list[str]:
    if found.lost_count <= found.few:
        return []
    lost = [band.lost for band in found.bands]
    where = _where(found, lost)
    remedy = {
        "fast": "the magnet passes too fast for the pickup: make the gap smaller, or use a wider magnet",
        "slow": "at low speed a weak field does not switch the pickup: make the gap smaller",
    }.get(where, "make the gap between magnet and pickup smaller, and check for a loose plug")
    return [
        f"{found.lost_count} of {len(found.pulses.rise_s) + found.lost_count} pulses are lost"
        f"{_speeds(found, where, lost)}: {remedy}. Each lost pulse reads as half the speed"
    ]


def _doubled(found: WheelInspection) -> list[str]:
    count = len(found.pulses.double_s)
    if count <= found.few:
        return []
    doubled = [band.doubled for band in found.bands]
    where = _where(found, doubled)
    return [
        f"{count} pulses are doubled{_speeds(found, where, doubled)}: a contact bounces, or the magnet "
        f"passes at the limit of the pickup's range. Use a Hall switch instead of a contact, or make the "
        f"gap smaller; until then put an RC filter of 5 ms in the wire"
    ]


def _noise(found: WheelInspection) -> list[str]:
    noise = found.noise
    if noise.with_drive:
        return [
            f"noise comes with the motor: {noise.driving_per_s:.1f} pulses a second while it drives, "
            f"{noise.idle_per_s:.1f} while it doesn't. Lay the wheel's wire away from the phase wires, "
            "twist it with its ground, and check the pull-up; then record again"
        ]
    if noise.per_s <= NOISE_TOLD_PER_S:
        return []
    said = f"{noise.per_s:.1f} noise pulses a second"
    said += ", while the wheel turns but not while it stands" if noise.with_speed else ""
    if not found.has_drive:
        said += (
            ": record a second channel that is high while the motor drives, to see whether the motor causes "
            "it; lay the wheel's wire away from the phase wires"
        )
    else:
        said += ", no more while the motor drives: check plug, ground and pull-up"
    return [said]


def _bike(found: WheelInspection) -> list[str]:
    told = found.told
    said = []
    pulses = found.turn.pulses
    if told.pulses and pulses.sure and pulses.value != told.pulses:
        said.append(
            f"the bike file says {told.pulses} wheel pulses, the capture {pulses.value}: the board reads "
            f"{(pulses.value or 1) / told.pulses:.3g} times the true speed; write the number into the file"
        )
    if told.circumference_m and found.circumference_m is not None:
        percent = 100.0 * (told.circumference_m / found.circumference_m - 1.0)
        if found.against_bike and abs(percent) >= 2.0:
            said.append(
                f"the bike file has a wheel circumference of {told.circumference_m:.3f} m, the push gives "
                f"{found.circumference_m:.3f} m: the speed reads {abs(percent):.0f} % too "
                f"{'high' if percent > 0.0 else 'low'}"
            )
    return said


def _where(found: WheelInspection, counts: list[int]) -> str:
    """Return "fast" or "slow" if one end of the speed range has far more than the other, else ""."""
    bands = found.bands
    if len(bands) < 2:
        return ""
    half = len(bands) // 2
    low = sum(counts[:half]) / max(sum(band.pulses for band in bands[:half]), 1)
    high = sum(counts[-half:]) / max(sum(band.pulses for band in bands[-half:]), 1)
    if high > MORE_TIMES * low:
        return "fast"
    return "slow" if low > MORE_TIMES * high else ""


def _speeds(found: WheelInspection, where: str, counts: list[int]) -> str:
    """Return the speeds at which it happens mostly, if there are such."""
    if not where or not found.speed_known:
        return f", mostly when the wheel is {where}" if where else ""
    hit = [band for band, count in zip(found.bands, counts, strict=True) if count > FEW_OF * sum(counts)]
    if where == "fast":
        return f", mostly above {hit[0].least_km_per_h:.0f} km/h"
    return f", mostly below {hit[-1].most_km_per_h:.0f} km/h"
