"""Each function by itself at the borders of its comparisons, and changed texts of C are noticed."""

import re
import subprocess
from pathlib import Path

import pytest

from tests.forms.building import compiled, need
from tests.forms.conftest import write_form
from tests.forms.method_vectors import MethodVectors

pytestmark = [pytest.mark.long, pytest.mark.xdist_group("C form")]
SEEDS = 40
# `<` for `<=` and so on, in lines of which each stands for one component.
CHANGES = [
    ("if (value < lowest) {", "<", "<="),
    ("if (value <= start) {", "<=", "<"),
    ("self->_last_edge_us) > self->_standstill_us) {", ">", ">="),
    ("self->wire_open = throttle_mv < self->_open_mv;", "<", "<="),
    ("self->wire_shorted = throttle_mv > self->_short_mv;", ">", ">="),
    ("self->slow = self->cadence_rpm < self->_release_rpm;", "<", "<="),
    ("self->backward = crank->backward_run >= self->_backward_edges;", ">=", ">"),
    ("if (waited_us > self->_still_us) {", ">", ">="),
    ("if (command_mv <= self->_start_mv) {", "<=", "<"),
    ("if (self->_unpulsed_samples + 1 >= self->_wheel_lost_samples) {", ">=", ">"),
    ("return numerator % divisor < 0 ?", "<", "<="),
    ("return numerator % divisor < 0 ? quotient - 1 : quotient;", "- 1", "+ 1"),
    ("self->_noise_level = min_of(self->_noise_level + rejected, self->_noise_limit);", "+", "-"),
]


@pytest.fixture(scope="module")
def methods(program) -> MethodVectors:
    return MethodVectors(program, SEEDS)


def replayed(folder: Path, *flags: str) -> "subprocess.CompletedProcess[str]":
    done = compiled(
        [need("gcc"), "-std=c99", *flags, "-DASSIST_CHECKED", "method_check.c", "-o", "methods"], folder
    )
    assert done.returncode == 0, done.stderr
    return compiled(["./methods"], folder)


def test_functions_are_equal_where_their_comparisons_stand_at_equality(form_folder, methods):
    (form_folder / "method_check.c").write_text(methods.source(), encoding="utf-8")
    done = replayed(form_folder, "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
    assert done.stdout == f"{len(methods.lines)} vectors, 0 differ\n", done.stdout + done.stderr
    assert len(methods.lines) > 4_000
    assert len(methods.borders) > 140
    assert not [one.label for one, found in zip(methods.functions, methods.found, strict=True) if found == 0]


@pytest.mark.parametrize(("line", "before", "after"), CHANGES)
def test_a_changed_text_is_noticed(program, methods, tmp_path, line, before, after):
    folder = write_form(program, tmp_path)
    text = (folder / "assist.c").read_text(encoding="utf-8")
    assert text.count(line) >= 1
    changed = re.sub(re.escape(line), line.replace(f" {before}", f" {after}", 1), text, count=1)
    assert changed != text
    (folder / "assist.c").write_text(changed, encoding="utf-8")
    (folder / "method_check.c").write_text(methods.source(), encoding="utf-8")
    assert replayed(folder).returncode != 0
