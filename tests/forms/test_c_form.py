"""The C form does what its sources do in Python: outputs and everything remembered, step by step."""

import re
from pathlib import Path

import pytest

from firmware.settings import ASCENDING, TABLE, Settings
from host_sim.forms.c.form import c_form
from host_sim.forms.c.header import shared_with_interrupts
from tests.forms.building import CHIP, STRICT, build, compiled, digest_in, need, on_chip, replay

pytestmark = [pytest.mark.long, pytest.mark.xdist_group("C form")]
SANITIZED = ("-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")


@pytest.mark.parametrize("compiler", ["gcc", "clang"])
@pytest.mark.parametrize("level", ["-O0", "-O2"])
def test_no_compiler_warns(form_folder, compiler, level):
    build(form_folder, level, compiler=compiler)


@pytest.mark.parametrize("compiler", ["gcc", "clang"])
def test_nor_does_one_without_the_checks_of_divisors(form_folder, compiler):
    done = compiled([need(compiler), *STRICT, "-O2", "-c", "assist.c"], form_folder)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_header_is_one_of_cpp_too(form_folder):
    (form_folder / "user.cpp").write_text('#include "assist.h"\nController controller;\n', encoding="utf-8")
    done = compiled([need("g++"), "-Wall", "-Wextra", "-Werror", "-c", "user.cpp"], form_folder)
    assert (done.returncode, done.stderr) == (0, "")


def test_random_steps_are_equal_and_free_of_undefined_behaviour(form_folder, random_vectors):
    done = replay(build(form_folder, *SANITIZED), random_vectors.path)
    assert done.stdout.endswith(f"{random_vectors.records} vectors, 0 differ\n"), done.stdout + done.stderr
    assert digest_in(done.stdout) == random_vectors.digest
    assert random_vectors.steps >= 100_000
    assert random_vectors.driving >= random_vectors.steps // 2


def test_golden_rides_are_equal_and_free_of_undefined_behaviour(form_folder, ride_vectors):
    check = build(form_folder, *SANITIZED)
    for ride in ride_vectors:
        done = replay(check, ride.path)
        assert done.stdout.endswith(f"{ride.records} vectors, 0 differ\n"), done.stdout + done.stderr
        assert digest_in(done.stdout) == ride.digest
    assert sum(ride.steps for ride in ride_vectors) > 300_000


def test_a_chip_comes_to_the_same_digests(form_folder, random_vectors, ride_vectors):
    longest = max(ride_vectors, key=lambda ride: ride.steps)
    for vectors in (random_vectors, longest):
        printed = on_chip(form_folder, vectors.path)
        assert f"{vectors.records} vectors, 0 differ" in printed
        assert digest_in(printed) == vectors.digest


def test_a_difference_is_found_and_shown(form_folder, random_vectors):
    content = bytearray(random_vectors.path.read_bytes()[:400_000])
    content[200_001] ^= 1
    (form_folder / "changed").write_bytes(content)
    done = replay(build(form_folder, "-O1"), form_folder / "changed")
    assert done.returncode == 1
    assert re.search(r"^vector \d+: .* is -?\d+ and must be -?\d+$", done.stdout, re.MULTILINE)
    assert "this file of vectors is not whole" in done.stdout


# Constructors and settings.


def test_the_check_of_settings_knows_every_row_and_pair(program):
    refusals = dict(c_form(program).refusals)
    assert [refusals[number] for number in range(1, len(TABLE) + 1)] == [
        f"{name} must be {lowest} to {highest}" for name, _, lowest, highest, _ in TABLE
    ]
    assert len([number for number in refusals if 1000 <= number < 2000]) == len(ASCENDING)
    assert refusals[2000] == "engage_edges must be <least> or more with sensor_kind <sensor_kind>"


def test_every_refusal_of_settings_is_the_same_in_c(form_folder):
    """Each setting at its ends and beyond, each pair equal, and the further check."""
    asked: list[dict[str, int]] = []
    plain = Settings({}).as_dict()
    for name, _, lowest, highest, _ in TABLE:
        asked += [{**plain, name: value} for value in (lowest - 1, lowest, highest, highest + 1)]
    for lower, higher in ASCENDING:
        asked += [{**plain, lower: plain[higher] - less} for less in (0, 1)]
    asked += [
        {**plain, "sensor_kind": kind, "engage_edges": edges} for kind in range(3) for edges in range(2, 6)
    ]
    lines = [",".join(map(str, values.values())) for values in asked]
    rows = "\n".join(f"    {{{line}}}," for line in lines)
    text = (
        '#include <stdio.h>\n#include "assist.h"\nstatic const Settings ASKED[] = {\n' + rows + "\n};\n"
        "static Controller controller;\n"
        "int main(void)\n{\n"
        f"    for (int at = 0; at < {len(asked)}; at++) {{\n"
        "        bool built = Controller_init(&controller, &ASKED[at], 0);\n"
        '        printf("%d %d\\n", (int)Settings_check(&ASKED[at]), built);\n    }\n    return 0;\n}\n'
    )
    (form_folder / "ask.c").write_text(text, encoding="utf-8")
    done = compiled([need("gcc"), *STRICT, "assist.c", "ask.c", "-o", "ask"], form_folder)
    assert done.returncode == 0, done.stderr
    answers = compiled(["./ask"], form_folder).stdout.splitlines()
    legal = []
    for values in asked:
        try:
            Settings(values)
        except ValueError:
            legal.append(False)
        else:
            legal.append(True)
    assert [answer.split()[0] == "0" for answer in answers] == legal
    assert [answer.split()[1] == "1" for answer in answers] == legal
    assert set(legal) == {True, False}


def test_defaults_are_those_of_the_table(form_folder):
    shown = "".join(f'    printf("{row[0]} %ld\\n", (long)settings.{row[0]});\n' for row in TABLE)
    text = '#include <stdio.h>\n#include "assist.h"\nstatic Settings settings;\nint main(void)\n{\n'
    text += f"    Settings_default(&settings);\n{shown}    return 0;\n}}\n"
    (form_folder / "ask.c").write_text(text, encoding="utf-8")
    done = compiled([need("gcc"), *STRICT, "assist.c", "ask.c", "-o", "ask"], form_folder)
    assert done.returncode == 0, done.stderr
    printed = compiled(["./ask"], form_folder).stdout.splitlines()
    assert printed == [f"{name} {default}" for name, default, _, _, _ in TABLE]


# The text itself.


def test_both_ends_of_the_ring_and_its_slots_are_volatile(program):
    found = {name for kind, name in shared_with_interrupts(program) if kind == "EdgeLog"}
    assert found == {"_read", "_write", "_levels", "_times_us", "overruns"}
    header = c_form(program).header
    assert "volatile int32_t _read;" in header
    assert "volatile int32_t _levels[64];" in header


def test_there_is_no_heap_no_float_and_no_library(program):
    form = c_form(program)
    code = re.sub(r"/\*.*?\*/", "", form.header + form.source, flags=re.DOTALL)
    assert set(re.findall(r"#include (\S+)", code)) == {
        "<stdbool.h>",
        "<stdint.h>",
        "<stddef.h>",
        '"assist.h"',
    }
    assert not re.search(r"\b(float|double|malloc|calloc|free|printf|mem\w+)\b", code)


def plain(text: str) -> str:
    """Return a text without line ends and stars, which comments of C have more of."""
    return " ".join(text.replace("*", " ").split())


def test_names_docstrings_and_comments_are_kept(program):
    form = c_form(program)
    text = plain(form.header + form.source)
    for function in program.reached(["Controller.step", "Controller.__init__"]):
        doc = function.node.body[0]
        if function.body is not function.node.body:
            said = doc.value.value.split("\n")[0]  # type: ignore[attr-defined]
            assert plain(said) in text, function.label
        for line in range(function.node.lineno, (function.node.end_lineno or 0) + 1):
            if line in function.module.comments:
                comment = function.module.comments[line][0]
                assert plain(comment) in text, (function.label, comment)


def test_the_same_sources_give_the_same_text(program):
    assert c_form(program) == c_form(program)


# Cost on a small chip.


def test_it_takes_what_the_manual_says_on_a_cortex_m0_plus(form_folder):
    compiler = need("arm-none-eabi-gcc")
    done = compiled(
        [compiler, *STRICT, "-Os", *CHIP, "-fcallgraph-info=su", "-c", "assist.c", "-o", "chip.o"],
        form_folder,
    )
    assert (done.returncode, done.stderr) == (0, "")
    sizes = compiled(["arm-none-eabi-size", "chip.o"], form_folder).stdout.splitlines()[1].split()
    text_bytes, data_bytes, bss_bytes = map(int, sizes[:3])
    assert text_bytes <= 9_400  # 9,384 with gcc 12.2; the settings' defaults and check are 0.6 KB of it.
    assert (data_bytes, bss_bytes) == (0, 0)
    assert deepest_stack(form_folder / "chip.ci", "Controller_step") <= 200


def deepest_stack(calls: Path, start: str) -> int:
    """Return the deepest stack in bytes below a function, from GCC's graph of calls."""
    text = calls.read_text(encoding="utf-8")
    own: dict[str, int] = {}
    for title, label in re.findall(r'node: \{ title: "([^"]*)" label: "([^"]*)"', text):
        found = re.search(r"(\d+) bytes \((static|dynamic,bounded)\)", label)
        own[title] = int(found[1]) if found else 0
    edges = re.findall(r'edge: \{ sourcename: "([^"]*)" targetname: "([^"]*)"', text)
    below: dict[str, list[str]] = {}
    for source, target in edges:
        below.setdefault(source, []).append(target)

    def depth(title: str) -> int:
        return own.get(title, 0) + max([depth(one) for one in below.get(title, [])], default=0)

    assert start in own
    return depth(start)
