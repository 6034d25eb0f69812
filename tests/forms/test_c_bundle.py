"""`treadle bundle --form c`: the folder, its check, its page, and what the command refuses."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from host_sim.boardlink.manifest import MANIFEST
from tests.forms.building import CHIP, STRICT, compiled, need

pytestmark = [pytest.mark.long, pytest.mark.xdist_group("C form")]
PROGRAM = [sys.executable, "-c", "from host_sim.cli import main; main()"]
BOARD = """\
#include <stdbool.h>
#include <stdint.h>
int32_t board_now_us(void), board_crank_levels(void), board_wheel_level(void), board_throttle_mv(void);
int32_t board_selector_mv(void), board_battery_mv(void), board_current_ma(void);
int32_t board_motor_decicelsius(void);
bool board_brake_pulled(void), board_clear_requested(void);
void board_output_off(void), board_interrupts_on(void), board_wait_for_next_period(void);
void board_feed_watchdog(void);
void board_set_output_mv(int32_t millivolts), board_enable_motor(bool on);
void board_show(int32_t what, int32_t why);
void on_crank_change(void), on_wheel_change(void), ride(void);
"""


def treadle(*words: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run([*PROGRAM, *words], capture_output=True, text=True, timeout=300, check=False)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("bundle") / "folding"
    done = treadle("bundle", "--form", "c", "folding", "--out", str(place))
    assert done.returncode == 0, done.stderr
    assert "not verified here" in done.stdout
    return place


def test_make_check_says_that_nothing_differs(folder):
    done = compiled([need("make"), "-s", "check"], folder)
    assert done.returncode == 0, done.stdout + done.stderr
    last = done.stdout.splitlines()[-1]
    count = re.fullmatch(r"(\d+) vectors, 0 differ", last)
    assert count is not None
    assert int(count[1]) > 50_000
    assert f"must be `{last}`" in (folder / "README.md").read_text(encoding="utf-8")


def test_the_example_on_the_page_compiles_as_it_stands(folder):
    page = (folder / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```c\n(.*?)```", page, re.DOTALL)
    (folder / "example.c").write_text(example, encoding="utf-8")
    (folder / "board.h").write_text(BOARD, encoding="utf-8")
    for compiler, flags in (("gcc", ()), ("arm-none-eabi-gcc", CHIP)):
        done = compiled([need(compiler), *STRICT, *flags, "-c", "example.c"], folder)
        assert (done.returncode, done.stderr) == (0, "")


def test_the_page_keeps_its_cautions_and_leaves_no_gap(folder):
    page = (folder / "README.md").read_text(encoding="utf-8")
    assert "can hurt people" in page
    assert "wheel in the air" in page
    assert "watchdog" in page
    assert not re.search(r"@[A-Z]+@", page)
    assert "| 1 | sensor_kind must be 0 to 2 |" in page
    assert "no wheel pulses while driving" in page


def test_the_manifest_names_every_file(folder):
    manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    assert manifest["form"] == "c"
    assert manifest["rules"] is None
    named = {row["file"] for row in manifest["files"]}
    made = {
        "assist.c",
        "assist.h",
        "check.c",
        "check.h",
        "check_host.c",
        "Makefile",
        "README.md",
        "bike_settings.h",
    }
    assert named - {name for name in named if name.startswith("vectors/")} == made


def test_another_bundle_is_replaced_only_when_asked(folder):
    done = treadle("bundle", "--form", "c", "folding", "--out", str(folder))
    assert done.returncode == 2
    assert "exists already" in done.stderr


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--form", "d"), '--form is "d", allowed is c,'),
        (
            ("--form", "c", "--board", "rpi_pico"),
            "--board is 'rpi_pico', but --form c takes no --board",
        ),
        (("--form", "c", "no_such_bike"), "no_such_bike"),
        ((), "--board"),
    ],
)
def test_a_wrong_request_ends_with_2_and_one_sentence(words, sentence, tmp_path):
    done = treadle("bundle", *words, "--out", str(tmp_path / "new"))
    assert done.returncode == 2
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "new").exists()
