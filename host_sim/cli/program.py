"""The program `treadle`: all commands; every error becomes a sentence and an exit code.

Exit codes: 0 for success, 1 for a negative result, 2 for a wrong request; an interruption (Ctrl-C or SIGTERM)
ends with 130 and leaves no incomplete file.
"""

import io
import os
import sys
from importlib.metadata import version
from typing import Annotated, Any, NoReturn

import typer

from host_sim.cli.bundle import bundle_command
from host_sim.cli.calibrate import calibrate_command
from host_sim.cli.commission import commission_command
from host_sim.cli.compare import compare_command
from host_sim.cli.flash import flash_command
from host_sim.cli.handover import handover_command
from host_sim.cli.inspect import inspect_command
from host_sim.cli.lab import lab_command
from host_sim.cli.measure import measure_command
from host_sim.cli.new import new_command
from host_sim.cli.prove import prove_command
from host_sim.cli.ride import ride_command
from host_sim.cli.saying import complain, say
from host_sim.cli.step import step_command
from host_sim.cli.sweep import sweep_command
from host_sim.cli.tune import tune_command
from host_sim.cli.verify import verify_command
from host_sim.cli.watch import watch_command
from host_sim.errors import RequestError
from host_sim.interruption import ended_as_interrupted

INTERRUPTED = 130  # As a shell reports a program that ended by SIGINT.

# The headings of the help, in the order of work.
SET_UP, CHECK, INSTALL, EXPLAIN = "Fit and set up", "Check", "Install and watch", "Explain"

app = typer.Typer(
    add_completion=True,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
    help="Rides, checks and sets up the assist controller of a bicycle before anyone sits on it.",
)
app.command("new", rich_help_panel=SET_UP)(new_command)
app.command("inspect", rich_help_panel=SET_UP)(inspect_command)
app.command("measure", rich_help_panel=SET_UP)(measure_command)
app.command("tune", rich_help_panel=SET_UP)(tune_command)
app.command("sweep", rich_help_panel=SET_UP)(sweep_command)
app.command("ride", rich_help_panel=CHECK)(ride_command)
app.command("compare", rich_help_panel=CHECK)(compare_command)
app.command("verify", rich_help_panel=CHECK)(verify_command)
app.command("prove", rich_help_panel=CHECK)(prove_command)
app.command("bundle", rich_help_panel=INSTALL)(bundle_command)
app.command("flash", rich_help_panel=INSTALL)(flash_command)
app.command("calibrate", rich_help_panel=INSTALL)(calibrate_command)
app.command("commission", rich_help_panel=INSTALL)(commission_command)
app.command("watch", rich_help_panel=INSTALL)(watch_command)
app.command("step", rich_help_panel=EXPLAIN)(step_command)
app.command("lab", rich_help_panel=EXPLAIN)(lab_command)
app.command("handover", rich_help_panel=EXPLAIN)(handover_command)


def _print_version(asked: bool) -> None:
    if asked:
        print(f"treadle {version('treadle')}")
        raise typer.Exit


@app.callback()
def treadle(
    asked: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Rides, checks and sets up the assist controller of a bicycle before anyone sits on it."""


def main() -> None:
    """Run the program; a wrong request ends in one sentence and exit code 2."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(
            errors="backslashreplace"
        )  # A name may contain characters that a terminal can't show.
    try:
        with ended_as_interrupted():
            code = app(prog_name="treadle", standalone_mode=False)
        sys.stdout.flush()
    except RequestError as error:
        _end(str(error), 2)
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    except OSError as error:
        # Standard output is closed, or its disk is full; Python would try again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        if not isinstance(error, BrokenPipeError):
            say(f"standard output: {error.strerror}")
        sys.exit(1)
    except Exception as error:
        _end(_usage(error), 2)
    if code == INTERRUPTED:
        _end("interrupted, nothing was written", INTERRUPTED)
    sys.exit(code or 0)


def _usage(error: Any) -> str:
    """Return the parser's complaint about the command line in one line; raise any other error again."""
    if not hasattr(error, "format_message"):
        raise error
    if type(error).__name__ == "NoArgsIsHelpError":
        return ""  # The help has been printed.
    path = getattr(getattr(error, "ctx", None), "command_path", "treadle")
    sentence = " ".join(str(error.format_message()).split()).rstrip(".")
    return f"{sentence}; `{path} --help` shows what is allowed"


def _end(sentence: str, code: int) -> NoReturn:
    """Exit, with a sentence if there is one."""
    if sentence:
        complain(sentence, code)
    sys.exit(code)
