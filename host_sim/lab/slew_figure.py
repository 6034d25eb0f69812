"""Lesson 3's figure: power over time, and below it the jerk that the rider feels."""

from host_sim.lab.slew import END_S, FULL_MOST_S, JERK_MOST_M_PER_S3, START_S, STOP_S, Slewed
from host_sim.lab.strip import Number, strip
from host_sim.report.svg import BLUE, GREEN, INK, ORANGE, QUIET, RED, Drawing, Panel

_JERK_SHOWN = (-5.0, 5.0)


def draw_slew(tried: Slewed) -> str:
    """Return the numbers and the charts as HTML."""
    lag = "not reached" if tried.lag_s is None else f"reached in {tried.lag_s:.1f} s"
    told = (
        f"At {tried.rise_mv_per_s} mV/s full power is {lag}; the jerk is {tried.worst_m_per_s3:.2f} m/s³, "
        f"at the cut {tried.cut_m_per_s3:.1f}."
    )
    drawing = Drawing(680, 344, told)
    samples = tried.samples
    power = Panel(drawing, (40, 28, 630, 120), (1.0, END_S), (0.0, 300.0))
    power.axes([], [0, 100, 200, 300])
    power.area(list(zip(samples.time_s, samples.power_w, strict=True)), "#bfe0d4")
    power.plot(list(zip(samples.time_s, samples.power_w, strict=True)), GREEN, 3)
    volts = [volt * 60.0 for volt in samples.command_v]
    power.plot(list(zip(samples.time_s, volts, strict=True)), BLUE, 2, "6 4")
    drawing.words(6, 18, "power of the motor, W", GREEN, 13, bold=True)
    drawing.words(176, 18, "and the command voltage (dashed, 0 to 5 V)", BLUE, 13, bold=True)
    power.mark(START_S, "pedals start", INK, row=0)
    power.mark(STOP_S, "pedals stop", INK, to_the_left=True)
    if tried.cut_s is not None:
        power.mark(tried.cut_s, "cut", RED)
    jerk = Panel(drawing, (40, 190, 630, 110), (1.0, END_S), _JERK_SHOWN)
    jerk.axes([1, 2, 3, 4, 5, 6, 7], [-4, -2, 0, 2, 4], "seconds")
    drawing.line([(jerk.left, jerk.y_at(0)), (jerk.left + jerk.width, jerk.y_at(0))], INK, 1)
    jerk.plot(list(zip(samples.time_s, tried.jerk_m_per_s3, strict=True)), ORANGE, 3)
    if tried.cut_s is not None:
        jerk.mark(tried.cut_s, "cut", RED)
    jerk.level(JERK_MOST_M_PER_S3, QUIET, f"wanted: {JERK_MOST_M_PER_S3:g} or less")
    drawing.words(6, 180, "jerk: how fast the push rises (up) or falls (down), m/s³", ORANGE, 13, bold=True)
    return strip(_numbers(tried)) + drawing.text()


def _numbers(tried: Slewed) -> list[Number]:
    soon = tried.lag_s is not None and tried.lag_s <= FULL_MOST_S
    lag = "never" if tried.lag_s is None else f"{tried.lag_s:.2f} s"
    gentle = tried.worst_m_per_s3 <= JERK_MOST_M_PER_S3
    after = tried.cuts_after_s
    cut = f"not slewed; {min(after):.2f} to {max(after):.2f} s after pedalling stops" if after else "no cut"
    mass_kg = tried.bike.bicycle.mass_kg
    return [
        (
            "largest jerk of the start",
            f"{tried.worst_m_per_s3:.2f} m/s³",
            f"wanted: {JERK_MOST_M_PER_S3:g} or less",
            gentle,
        ),
        ("full power after", lag, f"wanted: {FULL_MOST_S:g} s or less", soon),
        ("jerk of the cut", f"{tried.cut_m_per_s3:.1f} m/s³", cut, None),
        ("bicycle, rider and load", f"{mass_kg:.0f} kg", f"{tried.load_kg:.0f} kg of it in the box", None),
    ]
