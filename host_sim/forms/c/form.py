"""The C form of a program: `assist.h` and `assist.c`."""

from dataclasses import dataclass

from host_sim.forms.c.header import HeaderWriter
from host_sim.forms.c.names import Names
from host_sim.forms.c.settings_check import SettingsCheck
from host_sim.forms.c.source import SourceWriter
from host_sim.forms.model import Program


@dataclass(frozen=True, slots=True)
class CForm:
    """The two texts, and the meanings of the numbers that the settings check returns."""

    header: str
    source: str
    refusals: list[tuple[int, str]]


def c_form(program: Program) -> CForm:
    """Translate a program; OutsideSubsetError for what can't be expressed in C."""
    names = Names(program)
    used: set[str] = set()
    declared = [kind for kind in program.classes.values() if kind.declared]
    checks = {kind.name: SettingsCheck(program, names, kind, used) for kind in declared}
    header = HeaderWriter(program, names, checks).write()
    source = SourceWriter(program, names, checks, used).write()
    return CForm(header, source, [row for check in checks.values() for row in check.refusals()])
