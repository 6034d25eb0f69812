"""`treadle ride --replay` on the command line: what is printed."""

import json

import typer

from host_sim.cli.saying import say
from host_sim.commands.replay import NO_ANSWER, ReplayRequest, ReplayResult, replay_log
from host_sim.replay.log_file import Section
from host_sim.replay.stepping import Happened, Replay
from host_sim.textfile import spoken


def replay_command(request: ReplayRequest, as_json: bool) -> None:
    """Replay the log and print what came of it; exit code 1 if it is not what the board did."""
    result = replay_log(request)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print(result)
    if result.complaint:
        say(result.complaint)
        raise typer.Exit(1)


def _print(result: ReplayResult) -> None:
    request = result.request
    for section, other, found in zip(request.log.sections, request.others, result.found, strict=True):
        rows = _rows(section, other, found)
        width = max(len(name) for name, _ in rows) + 2
        for name, value in rows:
            print(f"{name:<{width}}" + value.replace("\n", "\n" + " " * width))
    if not request.log.ended:
        print("the log has no end mark: its recording was interrupted, or its end was cut off")
    if any(request.others):
        print(NO_ANSWER)
    for path in result.files:
        print(spoken(path))


def _rows(section: Section, other: bool, found: Replay) -> list[tuple[str, str]]:
    return [
        ("board, form", f"{spoken(section.board)}, {spoken(section.form)}"),
        ("replayed", f"{found.steps} steps, {found.seconds:.1f} s, {_whence(found)}"),
        ("as on the board" if not other else "with other settings", _agreement(other, found)),
        ("faults", _faults(found.faults)),
        *([("faults on the board", _faults(found.board_faults))] if other else []),
    ]


def _whence(found: Replay) -> str:
    return "from the board's start" if found.from_start else "from the middle of a ride"


def _agreement(other: bool, found: Replay) -> str:
    equal = found.steps - found.different
    if other:
        share = 100 * equal / max(found.steps, 1)
        first = "" if found.parting is None else f"; first {found.parting.sentence()}"
        return f"{equal} steps ({share:.1f} %) decided alike{first}"
    if found.parting is not None:
        return f"{found.equal} steps, then not"
    if found.different == 0:
        return f"all {found.equal} steps, to the bit"
    if found.agrees_from is None:
        return f"{equal} steps, not to the end"
    return (
        f"from step {found.agrees_from} on, to the bit; before, its unknown state was put right "
        f"in {found.put_right} steps"
    )


def _faults(faults: list[Happened]) -> str:
    if not faults:
        return "none"
    lines = [f"{fault.time_s:.2f} s, step {fault.step}: {fault.name}" for fault in faults[:10]]
    lines[0] += " (first cause)"
    more = len(faults) - len(lines)
    return "\n".join(lines + ([f"and {more} more"] if more else []))
