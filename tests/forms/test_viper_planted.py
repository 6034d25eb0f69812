"""An error planted in the translator shows: the module differs from the sources, or can't be made or run."""

import importlib
import shutil
import sys

import pytest

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import Settings
from host_sim.forms.program import read_firmware
from tests.forms.fused_forms import loaded
from tests.forms.lives import Draw, SideBySide, draw_settings
from tests.micropython_unix import ROOT

pytestmark = pytest.mark.long

LIVES = 8
LOOPS_MOST = 400_000  # Some times what these rides take: an endless loop is an error that shows.
TABLES = "from host_sim.forms.expressions import COMPARISONS, OPERATORS"


def wrong(table: str, entry: str) -> str:
    """Return the import of the tables of signs, and one of them with a wrong entry."""
    return f"{TABLES}\n\n{table} = {{**{table}, {entry}}}\n"


PLANTED = [
    ("an addition is a subtraction", "expressions", TABLES, wrong("OPERATORS", 'ast.Add: "-"')),
    ("a shift goes the other way", "expressions", TABLES, wrong("OPERATORS", 'ast.LShift: ">>"')),
    (
        "a division drops the rest towards zero",
        "expressions",
        'return Number(f"{first.operand} {sign}',
        'if sign == "//":\n            return Number(f"int({first.operand} / {second.operand})")\n'
        '        return Number(f"{first.operand} {sign}',
    ),
    ("a division by a power of two halves once more", "expressions", "bit_length() - 1", "bit_length()"),
    ("a sign is added", "calls", "^ {signed[1]}) - {", "^ {signed[1]}) + {"),
    ("less counts equal in", "expressions", TABLES, wrong("COMPARISONS", 'ast.Lt: "<="')),
    ("at least leaves equal out", "expressions", TABLES, wrong("COMPARISONS", 'ast.GtE: ">"')),
    ("at most leaves equal out", "expressions", TABLES, wrong("COMPARISONS", 'ast.LtE: "<"')),
    ("more counts equal in", "expressions", TABLES, wrong("COMPARISONS", 'ast.Gt: ">="')),
    ("a negation is lost", "expressions", 'return f"not ({', 'return f"({'),
    ("a sign is lost", "expressions", "ast.Sub(), ast.Constant(0)", "ast.Add(), ast.Constant(0)"),
    ("every and is an or", "expressions", 'return f" {word} ".join', 'return " or ".join'),
    ("nested ifs end too early", "expressions", "(0, 1) if word ==", "(1, 0) if word =="),
    ("operands lose their brackets", "values", 'return text if single else f"({text})"', "return text"),
    ("a table row is too short", "expressions", "width = len(first) if", "width = len(first) - 1 if"),
    ("a chain of comparisons is cut", "expressions", "zip(numbers, signs,", "zip(numbers[:1], signs,"),
    ("a pointer is off by a window", "expressions", "{4 * WINDOW * window}", "{4 * WINDOW * window - 4}"),
    ("min and max are exchanged", "calls", '"<" if name == "min"', '">" if name == "min"'),
    ("the absolute value of a negative number stays", "calls", "= 0 - {kept.text}", "= {kept.text}"),
    ("a return does not leave", "statements", 'self.text.line("break")\n\n\ndef', "pass\n\n\ndef"),
    ("calls with an ignored result are left out", "calls", "if value is None else", "if not wanted else"),
    ("a loop leaves out its first", "statements", "range({', '.join(", "range(1 + {', '.join("),
    (
        "a list is filled one short",
        "statements",
        "in range({field.length}):",
        "in range({field.length - 1}):",
    ),
    ("local variables are free too early", "statements", 'kept | {self.frame.result or ""}', "set()"),
    ("an input is taken late", "module", "lines += entry.lines", "lines = entry.lines + lines"),
    ("two fields share a place", "graph", "self.size += count", "self.size += count - (self.size == 60)"),
    ("a truth is given out as a number", "module", "{-field.at if field.truth else field.at}", "{field.at}"),
]


def planted_translator(tmp_path, monkeypatch, name, file, old, new):
    """Return the module of a copy of the translator that has the error."""
    package = "planted_" + "_".join(name.split())
    shutil.copytree(ROOT / "host_sim" / "forms" / "viper", tmp_path / package)
    for path in (tmp_path / package).glob("*.py"):
        text = path.read_text()
        if path.stem == file:
            assert text.count(old) == 1, "the error can't be planted: the translator has changed"
            text = text.replace(old, new)
        path.write_text(text.replace("host_sim.forms.viper", package))
    monkeypatch.syspath_prepend(str(tmp_path))
    importlib.invalidate_caches()
    return importlib.import_module(f"{package}.module")


def is_caught(translator) -> bool:
    """Tell whether what the translator makes fails, or differs on rides and in construction."""
    try:
        sample = {"Inputs": Inputs()}
        fused = translator.Fused(read_firmware(), Controller(Settings({}), 0), sample, False)
        controller = loaded(fused, LOOPS_MOST).Controller
        if SideBySide(controller, tuple(fused.cells.items()), LIVES, 1).differences:
            return True
        settings = draw_settings(Draw(1))
        here, there = Controller(settings, 0), controller(settings, 0)
        return type(here.wheel.steady) is not type(there.wheel.steady)
    except (Exception, SystemExit):
        return True


@pytest.mark.parametrize("planted", PLANTED, ids=[row[0] for row in PLANTED])
def test_a_planted_error_is_caught(planted, tmp_path, monkeypatch):
    assert is_caught(planted_translator(tmp_path, monkeypatch, *planted))


def test_the_translator_without_a_planted_error_passes_the_same_check(tmp_path, monkeypatch):
    translator = planted_translator(tmp_path, monkeypatch, "none", "names", "class Names", "class Names")
    assert not is_caught(translator)
    assert "micropython" in sys.modules
