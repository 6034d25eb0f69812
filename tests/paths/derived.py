"""Every number that a constructor derives lies where the steps of the components begin."""

from firmware.controller import Controller
from firmware.decide.pedalling import Pedalling
from firmware.guard.output_guard import OutputGuard
from firmware.sense.crank import Crank
from firmware.settings import MOTOR_SPEED, Settings
from host_sim.proof.domain import RANGES, lies_in
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Numbers
from tests.paths.decide import RELEASE_GAP_US
from tests.paths.doubt import FALL_LEAST_MAX_MA, JUDGED_EMF_MAX_MV, STUCK_LEAST_MA


def derived_numbers(ex: Numbers) -> None:
    """Each number that is derived from settings, of the crank and of the motor, over all that count."""
    ex.outcome(gaps=_gap_numbers(ex), motors=_motor_numbers(ex))


def _gap_numbers(ex: Numbers) -> int:
    """Every number of pulses with every release cadence, one by one."""
    low, high = RANGES["pulses_per_rev"]
    slowest, fastest = RANGES["release_rpm"]
    count = 0
    for pulses in range(low, high + 1):
        for release_rpm in range(slowest, fastest + 1):
            for share in RANGES["edge_gap_permille"]:
                values = {"pulses_per_rev": pulses, "release_rpm": release_rpm, "engage_rpm": 60}
                values["edge_gap_permille"] = share
                settings = Settings(values)
                legs = Inside(Pedalling(settings))
                cadence = Inside(legs.cadence)
                lies_in(ex, legs.release_gap_us, RELEASE_GAP_US, "the release gap")
                lies_in(ex, cadence.scale, (93_750, 1_500_000), "the cadence scale")
                lies_in(ex, cadence.still_us, (15_889, 3_750_000), "the cadence's standstill")
                guard, crank = Inside(OutputGuard(settings, 0)), Inside(Crank(settings, 0))
                lies_in(ex, guard.longest_us, (15_000, 3_765_000), "the guard's longest gap")
                ex.check(
                    guard.glitch_us == crank.glitch_us,
                    "both have one glitch time",
                )
                count += 1
    return count


def _motor_numbers(ex: Numbers) -> int:
    """The ends of every motor setting from which a number is derived; all are monotone."""
    count = 0
    for emf in RANGES["back_emf_mv_per_m_per_s"]:
        for resistance_mohm in RANGES["motor_resistance_mohm"]:
            for no_load_ma in RANGES["no_load_current_ma"]:
                for cutoff in RANGES["cutoff_speed_mm_per_s"]:
                    values = {"motor_kind": MOTOR_SPEED, "back_emf_mv_per_m_per_s": emf}
                    values["motor_resistance_mohm"] = resistance_mohm
                    values["no_load_current_ma"] = no_load_ma
                    values["cutoff_speed_mm_per_s"] = cutoff
                    values["taper_start_mm_per_s"] = 500
                    values["startup_speed_mm_per_s"] = 1
                    controller = Controller(Settings(values), 0)
                    watch = Inside(controller.shunt_watch)
                    lies_in(ex, watch.fall_least_ma, (0, FALL_LEAST_MAX_MA), "the least fall")
                    lies_in(
                        ex,
                        watch.stuck_least_ma,
                        STUCK_LEAST_MA,
                        "the least reading that may be stuck",
                    )
                    judged_mv = Inside(controller.plausibility).judged_emf_mv
                    lies_in(ex, judged_mv, (0, JUDGED_EMF_MAX_MV), "the lowest judged back-EMF")
                    count += 1
    return count
