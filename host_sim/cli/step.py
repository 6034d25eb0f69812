"""`treadle step` on the command line: its options, and what it says."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.saying import complain
from host_sim.cli.watch import FilesOption, PortOption, chosen_port
from host_sim.commands.step import SECONDS, NoStep, StepRequest, StepResult, step
from host_sim.commands.watch import open_chosen, require_link
from host_sim.lab.bench_bridge import Curve
from host_sim.textfile import spoken


def step_command(
    bike: BikeArgument = DEFAULT_BIKE,
    port: PortOption = None,
    desk: Annotated[
        bool, typer.Option("--desk", help="Start the desk board, which has no hardware.")
    ] = False,
    files: FilesOption = None,
    hurry: Annotated[
        bool, typer.Option("--hurry", help="With --desk: ride as fast as the computer can.")
    ] = False,
    seconds: Annotated[
        float, typer.Option(parser=read_seconds, metavar="SECONDS", help="How long to wait for a step.")
    ] = SECONDS,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The page. Default: step-BIKE.html here.")
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Measure the step response of a board's power loop, and lay the bench's over it.

    Lesson 4 on a real board: rest for 3 s, pedal until the motor helps, and go on evenly for 6 s. The bench
    rides the board's own settings at the cadence and the wheel's speed that the board sent; one page shows
    both powers and both commands. With --desk a simulated rider does it, and the bench has the desk's motor.

    Driven wheel off the ground, hands clear, a hand at the battery switch.

    Example: `treadle step my_trike.toml`
    """
    request = StepRequest(bike, desk, seconds, out, force)
    require_link()
    from host_sim.boardlink.port_choice import NoBoard

    try:
        named = str(bike) if desk and files is None else None
        with chosen_port(port, desk, named, files, hurry) as name:
            opened = open_chosen(name)[1]
            try:
                result = step(request, opened)
            finally:
                opened.close()
    except (NoStep, NoBoard) as error:
        complain(str(error), 1)
        raise typer.Exit(1) from None
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print(result)


def _print(result: StepResult) -> None:
    bridged = result.bridged
    board, bench = _told(bridged.measured), _told(bridged.simulated)
    print(f"{'':<16}{'board':>10}{'bench':>10}")
    for name, measured, simulated in zip(_ROWS, board, bench, strict=True):
        print(f"{name:<16}{measured:>10}{simulated:>10}")
    print(f"{'apart at most':<16}{bridged.largest_w:>8.0f} W")
    print(f"{'file':<16}{spoken(result.file)}")


_ROWS = ("rise time", "overshoot", "power, end", "command, end")


def _told(curve: Curve) -> tuple[str, ...]:
    rise = "never" if curve.rise_s is None else f"{curve.rise_s:.2f} s"
    return rise, f"{curve.overshoot_percent:.0f} %", f"{curve.last_w:.0f} W", f"{curve.last_v:.2f} V"
