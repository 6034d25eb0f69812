"""What the README shows and names exists: pictures, links, commands, options, courses, rules."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from host_sim.bench.course import course_names
from host_sim.cli.program import app
from host_sim.rules.catalogue import RULES
from tests.docs.gallery import DRAWN, PHOTOGRAPHED, PICTURES
from tests.docs.tutorial import not_printed

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = sorted(
    path for top in ("boards", "firmware", "host_sim", "tests") for path in (ROOT / top).rglob("*.md")
)
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]
CALL = re.compile(r"(?<![\w-])treadle ([a-z]+)((?: [^`#|\n]*)?)")


def calls(text: str) -> list[tuple[str, str]]:
    """Return every call of a command in code: its name, and the rest of it."""
    code = re.findall(r"`([^`\n]*treadle [^`\n]*)`", text)
    code += [line for block in re.findall(r"```sh\n(.*?)```", text, re.S) for line in block.splitlines()]
    return [match.groups() for piece in code for match in [CALL.search(piece)] if match]


def test_the_gallery_is_what_the_readme_shows():
    shown = set(re.findall(r"host_sim/report/pictures/([\w-]+\.png)", README))
    assert shown == set(DRAWN) | set(PHOTOGRAPHED)
    assert {path.name for path in PICTURES.glob("*.png")} == shown


@pytest.mark.parametrize(
    "page", [ROOT / "README.md", ROOT / "DEVELOPERS.md", *PAGES], ids=lambda path: str(path.relative_to(ROOT))
)
def test_links_lead_somewhere_and_commands_exist(page):
    text = page.read_text(encoding="utf-8")
    for link in re.findall(r"\]\(([^)#]+)\)", text):
        if not link.startswith(("http", "mailto")):
            assert (page.parent / link).exists(), link
    for name, rest in calls(text):
        assert name in COMMANDS, name
        known = {option for parameter in COMMANDS[name].params for option in parameter.opts}
        for option in re.findall(r"(?<!\w)--[a-z][a-z-]*", rest):
            assert option in known | {"--help"}, f"{name} {option}"


def test_every_command_is_in_the_table_in_the_order_of_the_help():
    table = README.split("## What each command does")[1].split("Every command has")[0]
    assert re.findall(r"^\|[^|]*\| `treadle (\w+)", table, re.M) == list(COMMANDS)


def test_every_rule_and_course_that_is_named_exists():
    names = {rule.name for rule in RULES}
    assert set(re.findall(r'--rule "([^"]+)"', README)) - {"RULE"} <= names
    assert set(re.findall(r"--rule ([a-z]+)", README)) <= names
    assert set(re.findall(r"--course (\w+)", README)) <= set(course_names())


def examples() -> list[str]:
    """Return the commands of the README's example block, without their comments."""
    block = README.split("lists every key. Try:")[1].split("```sh\n")[1].split("```")[0]
    return [line.split("  #")[0].strip().removeprefix("uv run ") for line in block.splitlines()]


def run_example(line: str, folder: Path) -> None:
    words = shlex.split(line)
    assert words[0] == "treadle"
    command = [sys.executable, "-c", "from host_sim.cli import main; main()", *words[1:]]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    expected = 1 if words[1] == "verify" else 0  # The rule that the folding bicycle is known to break.
    assert done.returncode == expected, f"{line}: {done.stdout[-500:]} {done.stderr[-500:]}"
    assert done.stdout


@pytest.mark.long
def test_the_examples_of_the_readme_run_one_after_the_other(tmp_path):
    lines = examples()
    assert len(lines) == 8
    for line in lines:
        if not line.startswith("treadle tune"):
            run_example(line, tmp_path)


@pytest.mark.long
def test_the_main_job_prints_what_the_readme_shows(tmp_path):
    shown = README.split("and prints:\n\n```\n")[1].split("\n```")[0].splitlines()
    command = [sys.executable, "-c", "from host_sim.cli import main; main()", "ride"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert not_printed(tuple(shown), done.stdout.splitlines()) is None


@pytest.mark.slow
def test_the_example_that_tunes_runs_too(tmp_path):
    (line,) = [line for line in examples() if line.startswith("treadle tune")]
    run_example(line, tmp_path)
    run_example("treadle ride my_step_through.toml --course errand", tmp_path)
