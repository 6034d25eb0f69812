"""The same volts as CSV files of many layouts: lines above the numbers, separators, units, no times."""

from collections.abc import Callable

from tests.capture.halls.ring import Floats

Layout = Callable[[Floats, Floats], str]


def plain(times_s: Floats, volts: Floats) -> str:
    """Names with units, commas."""
    rows = [f"{at:.6f},{a:.4f},{b:.4f}" for at, a, b in zip(times_s, *volts, strict=True)]
    return "\n".join(["time [s],A [V],B [V]", *rows, ""])


def units_below(times_s: Floats, volts: Floats) -> str:
    """A line of units below the names, milliseconds and millivolts, semicolons and decimal commas."""
    rows = [
        f"{1e3 * at:.4f};{1e3 * a:.2f};{1e3 * b:.2f}".replace(".", ",")
        for at, a, b in zip(times_s, *volts, strict=True)
    ]
    return "\n".join(["Time;Channel A;Channel B", "(ms);(mV);(mV)", "", *rows, ""])


def settings_above(times_s: Floats, volts: Floats) -> str:
    """Settings above the numbers, exponents, a comma at the end of each row, carriage returns."""
    rows = [f"{at:.7e},{a:.4e},{b:.4e}," for at, a, b in zip(times_s - 1.0, *volts, strict=True)]
    above = ["Model,our own", "Points,12000", "Vertical scale,1.0,1.0", "", "t,CH1,CH2,", "s,V,V,"]
    return "\r\n".join([*above, *rows, ""])


def interval_above(times_s: Floats, volts: Floats) -> str:
    """No times; a line above gives the time from sample to sample. Tabs, quoted names."""
    rows = [f"{a:.4f}\t{b:.4f}" for a, b in zip(*volts, strict=True)]
    return "\n".join([f"# sample interval: {times_s[1] - times_s[0]:.6f} s", '"A (V)"\t"B (V)"', *rows, ""])


def rate_above(times_s: Floats, volts: Floats) -> str:
    """A counter instead of times, and the rate in kilohertz above."""
    rows = [f"{place},{a:.4f},{b:.4f}" for place, (a, b) in enumerate(zip(*volts, strict=True))]
    rate = f"Sampling rate,{1e-3 / (times_s[1] - times_s[0]):.3f} kHz"
    return "\n".join([rate, "index,A in V,B in V", *rows, ""])


def range_left(times_s: Floats, volts: Floats) -> str:
    """Values out of range are infinities, as a sign or a word."""
    most = volts.max()
    words = [[("∞" if a >= most else f"{a:.4f}") for a in row] for row in volts]
    rows = [f"{at:.6f},{a},{b}" for at, a, b in zip(times_s, *words, strict=True)]
    return "\n".join(["Time (s),A (V),B (V)", *rows, ""])


def nameless(_: Floats, volts: Floats) -> str:
    """Numbers only; the user must give everything else."""
    return "\n".join([f"{a:.4f},{b:.4f}" for a, b in zip(*volts, strict=True)])


LAYOUTS: tuple[Layout, ...] = (
    plain,
    units_below,
    settings_above,
    interval_above,
    rate_above,
    range_left,
    nameless,
)
