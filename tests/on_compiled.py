"""Runs a test on the compiled bench, in a process of its own: several times as fast, the same to the digit.

Where nothing can be compiled it runs here.
"""

from collections.abc import Callable
from functools import wraps
from importlib import import_module
from pathlib import Path
from typing import Any

from host_sim.compiled.build import ROOT, missing_tools
from host_sim.compiled.workers import Workers

Call = tuple[str, str, tuple[Any, ...], dict[str, Any]]


def on_compiled(test: Callable[..., None]) -> Callable[..., None]:
    """Return the test, to be run over there. What it takes must be ready for pickle, so no monkeypatch."""

    @wraps(test)
    def run(*values: Any, **named: Any) -> None:
        if missing_tools():
            test(*values, **named)
            return
        with Workers(1) as workers:
            list(workers.map(called, [(module_of(test), test.__name__, values, named)], 1))

    return run


def module_of(test: Callable[..., None]) -> str:
    """Return the dotted name of a test's file from the root; here it may have a shorter one."""
    return ".".join(Path(test.__code__.co_filename).relative_to(ROOT).with_suffix("").parts)


def called(call: Call) -> None:
    """Run the test that a call names, in whatever process this is called."""
    module, name, values, named = call
    getattr(import_module(module), name).__wrapped__(*values, **named)
