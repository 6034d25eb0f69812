"""The program `treadle`: all commands; every error becomes a sentence and an exit code.

Exit codes: 0 for success, 1 for a negative result, 2 for a wrong request; an interruption (Ctrl-C or SIGTERM)
ends with 130 and leaves no incomplete file.
"""

import io
import os
import sys
from importlib import import_module
from importlib.metadata import version
from typing import Annotated, Any

import typer

from host_sim.cli.saying import end, say
from host_sim.errors import RequestError
from host_sim.interruption import INTERRUPTED, ended_as_interrupted

# The headings of the help, and below each its commands in the order of work. Every command is the function
# `NAME_command` of the module with its name.
COMMANDS = {
    "Fit and set up": ("new", "inspect", "measure", "tune", "sweep"),
    "Check": ("ride", "compare", "verify", "prove"),
    "Install and watch": ("bundle", "flash", "calibrate", "commission", "watch"),
    "Explain": ("step", "lab", "handover"),
}
VERSION = "--version"


def app_with(asked: str | None) -> typer.Typer:
    """Return the program with the command `asked` only, or with all of them if it is not the name of one.

    Importing every command takes over a second, one of them much less.
    """
    app = typer.Typer(
        add_completion=True,
        no_args_is_help=True,
        rich_markup_mode="markdown",
        pretty_exceptions_enable=False,
    )
    app.callback()(treadle)
    every = [name for names in COMMANDS.values() for name in names]
    for heading, names in COMMANDS.items():
        for name in names:
            if asked == name or asked not in (*every, VERSION):
                module = import_module(f"host_sim.cli.{name}")
                app.command(name, rich_help_panel=heading)(getattr(module, f"{name}_command"))
    return app


def __getattr__(name: str) -> typer.Typer:
    """Return `app`, the program with all commands."""
    if name != "app":
        raise AttributeError(name)
    return app_with(None)


def _print_version(asked: bool) -> None:
    if asked:
        print(f"treadle {version('treadle')}")
        raise typer.Exit


def treadle(
    asked: Annotated[
        bool,
        typer.Option(VERSION, callback=_print_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Rides, checks and sets up the assist controller of a bicycle before anyone sits on it."""


def main() -> None:
    """Run the program; a wrong request ends in one sentence and exit code 2."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A name may contain characters that a terminal can't show.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        with ended_as_interrupted():
            code = app_with(sys.argv[1] if len(sys.argv) > 1 else None)(
                prog_name="treadle", standalone_mode=False
            )
        sys.stdout.flush()
    except RequestError as error:
        end(str(error), 2)
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    except OSError as error:
        # Standard output is closed, or its disk is full; Python would try again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        if not isinstance(error, BrokenPipeError):
            say(f"standard output: {error.strerror}")
        sys.exit(1)
    except Exception as error:
        end(_usage(error), 2)
    if code == INTERRUPTED:
        end("interrupted, nothing was written", INTERRUPTED)
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
