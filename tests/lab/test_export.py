"""The export: what is in the folder and what is not, where its runtime comes from, what can go wrong."""

import functools
import gzip
import io
import json
import os
import re
import subprocess
import sys
import zipfile
from base64 import b64decode
from concurrent.futures import ThreadPoolExecutor
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Barrier, Thread

import pytest

from host_sim.lab import runtime
from host_sim.lab.bundle import bundle, contents
from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.export import Export
from host_sim.lab.in_page import answered
from host_sim.lab.teaching import own_loop, teaching
from tests.lab.serving import PATIENCE_S, ROOT

pytestmark = pytest.mark.xdist_group("lab in a browser")
needs_runtime = pytest.mark.usefixtures("needs_runtime")


def _packed(text):
    """Return the files that a script of the export has inside."""
    table = json.loads(re.search(r"TREADLE_FILES \?\? \{\}, (.*)\);", text)[1])
    return {name: gzip.decompress(b64decode(data)) for name, data in table.items()}


def _secrets():
    """Return what only teachers read: aims, sentences of notes, and the solution of the own loop."""
    for number in range(1, len(NAMES) + 1):
        taught = teaching(number)
        yield from taught.aims
        yield from re.findall("<(?:li|p)>(.{20,60})", taught.notes)
    yield from own_loop.AIMS
    yield "quiet < 40 and not brake"


@pytest.mark.long
def test_the_folder_has_three_files_and_the_licences(exported):
    assert {path.name for path in exported.iterdir()} == {
        "index.html",
        "runtime.js",
        "lessons.js",
        "licences.txt",
    }
    licences = (exported / "licences.txt").read_text(encoding="utf-8")
    for words in (
        "MIT License", "Mozilla Public License Version 2.0", "PYTHON SOFTWARE FOUNDATION LICENSE VERSION 2",
        "3.2. Distribution of Executable Form", f"pyodide {runtime.VERSION}", "git+https://",
    ):  # fmt: skip
        assert words in licences
    sizes = {path.name: path.stat().st_size for path in exported.iterdir()}
    assert sum(sizes.values()) < 25_000_000


def test_the_runtime_goes_in_unchanged(exported):
    packed = _packed((exported / "runtime.js").read_text(encoding="utf-8"))
    assert packed == runtime.runtime_from(None).files


def test_no_file_holds_what_only_teachers_read_not_even_inside_what_is_packed(exported):
    whole = [path.read_bytes() for path in exported.iterdir()]
    inside = _packed((exported / "lessons.js").read_text(encoding="utf-8"))
    with zipfile.ZipFile(io.BytesIO(inside["project.zip"])) as project:
        names = project.namelist()
        whole += [project.read(name) for name in names]
    whole.append(inside["snapshot"])
    assert not [name for name in names if "teach" in name]
    for secret in _secrets():
        for data in whole:
            assert secret.encode() not in data, secret


def test_the_page_can_load_nothing_and_connect_nowhere(exported):
    page = (exported / "index.html").read_text(encoding="utf-8")
    policy = re.search('http-equiv="Content-Security-Policy" content="([^"]*)"', page)[1]
    rules = dict(rule.split(" ", 1) for rule in policy.replace("&#x27;", "'").split("; "))
    assert rules["default-src"] == "'none'"
    assert rules["connect-src"] == "'none'"
    assert rules["worker-src"] == "blob:"
    assert rules["img-src"] == "data:"
    assert "'unsafe-inline'" not in rules["script-src"]
    assert "'unsafe-eval'" not in rules["script-src"]
    assert re.findall(r'(?:src|href)="(?!#|data:)([^"]+)"', page) == ["runtime.js", "lessons.js"]


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *words):
        pass


@pytest.mark.long
def test_any_web_server_can_give_the_folder(exported, chromium):
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(_Quiet, directory=str(exported)))
    Thread(target=server.serve_forever, daemon=True).start()
    page = chromium.new_page()
    complaints = []
    page.on("console", lambda said: complaints.append(said.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"http://127.0.0.1:{server.server_address[1]}/#5")
    page.locator("#lesson-5 figure svg").wait_for(timeout=PATIENCE_S * 1000)
    page.close()
    server.shutdown()
    server.server_close()
    assert complaints == []


def test_the_same_project_gives_the_same_bundle():
    assert bundle() == bundle()


@pytest.mark.long
def test_python_with_the_stand_ins_computes_the_same_bytes(tmp_path):
    zipfile.ZipFile(io.BytesIO(bundle())).extractall(tmp_path)
    program = """
import json, sys
from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.in_page import answered
sys.stdout.reconfigure(encoding="utf-8")
for number in range(1, len(NAMES) + 1):
    described = lesson(number)
    for guess in (None, *described.prediction.options[:1]):
        print(answered(json.dumps({"lesson": number, "values": described.start_values(), "guess": guess})))
assert sys.modules["pydantic"].__file__.startswith(sys.argv[1])
"""
    ended = subprocess.run(
        [sys.executable, "-S", "-c", program, str(tmp_path)], capture_output=True, check=True, cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
    )  # fmt: skip
    expected = []
    for number in range(1, len(NAMES) + 1):
        described = lesson(number)
        for guess in (None, *described.prediction.options[:1]):
            request = {"lesson": number, "values": described.start_values(), "guess": guess}
            expected.append(answered(json.dumps(request)))
    assert ended.stdout.decode("utf-8").splitlines() == expected


def test_the_bundle_has_no_library_of_numbers_and_no_command():
    names = contents()
    assert not [name for name in names if "commands" in name or "cli" in name or "numpy" in name]
    assert sum(map(len, names.values())) < 1_000_000


@needs_runtime
def test_without_a_browser_it_says_that_the_start_takes_longer(tmp_path):
    notice = Export(tmp_path / "lab", None).write(record=lambda told, scripts: None)
    assert "No Chromium was found" in notice
    assert "snapshot" not in _packed((tmp_path / "lab" / "lessons.js").read_text(encoding="utf-8"))


@needs_runtime
def test_an_empty_folder_is_taken_and_one_with_something_in_it_is_not(treadle, tmp_path):
    folder = tmp_path / "lab"
    folder.mkdir()
    assert Export(folder, None).folder == folder
    (folder / "mine.txt").write_text("mine")
    for name in (folder, folder / "mine.txt"):
        code, out, err = treadle("lab", "--export", str(name))
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert "exists, allowed is a new or an empty folder" in err
    assert (folder / "mine.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--runtime", "x.tgz"), "--runtime is allowed only with --export DIR"),
        (("--out", "x"), "--out is allowed only with --teacher"),
        (("--teacher", "--export", "x"), "--teacher and --export can't be combined"),
        (("2", "--teacher"), "LESSON is 2, but --export and --teacher are for all lessons"),
        (("2", "--export", "x"), "LESSON is 2, but"),
        (("--export", "x", "--runtime", "nowhere.tgz"), "--runtime nowhere.tgz can't be read"),
    ],
)
def test_options_that_do_not_go_together_are_refused_in_one_sentence(treadle, arguments, words):
    code, out, err = treadle("lab", *arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert words in err
    assert not Path("x").exists()


def test_a_runtime_that_is_another_file_is_refused_before_it_is_opened(treadle, tmp_path):
    other = tmp_path / "other.tgz"
    for content in (b"", b"no package", gzip.compress(b"x" * 1000)):
        other.write_bytes(content)
        code, _, err = treadle("lab", "--export", str(tmp_path / "lab"), "--runtime", str(other))
        assert (code, err.count("\n")) == (2, 1)
        assert "has SHA-256" in err
        assert f"npm pack pyodide@{runtime.VERSION}" in err
    assert not (tmp_path / "lab").exists()


def test_a_huge_file_is_refused_before_it_is_read(treadle, tmp_path):
    huge = tmp_path / "huge.tgz"
    with huge.open("wb") as file:
        file.truncate(10**11)
    code, _, err = treadle("lab", "--export", str(tmp_path / "lab"), "--runtime", str(huge))
    assert code == 2
    assert "64 MB" in err


def test_without_npm_and_cache_it_says_how_to_get_the_runtime(treadle, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(runtime, "cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(runtime.shutil, "which", lambda name: None)
    code, _, err = treadle("lab", "--export", str(tmp_path / "lab"))
    assert (code, err.count("\n")) == (2, 1)
    assert "npm is not here" in err
    assert f"--runtime {runtime.FILE}" in err


@pytest.mark.parametrize(
    ("npm", "words"),
    [
        ("#!/bin/sh\nexit 1\n", "is there a network?"),
        ("#!/bin/sh\nexit 0\n", "is there a network?"),
        (f"#!/bin/sh\necho other > {runtime.FILE}\n", "what npm gave for pyodide"),
    ],
)
def test_an_npm_that_fails_or_gives_something_else_is_told_in_one_sentence(
    treadle, tmp_path, monkeypatch, npm, words
):
    script = tmp_path / "npm"
    script.write_text(npm)
    script.chmod(0o755)
    monkeypatch.setattr(runtime, "cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(runtime.shutil, "which", lambda name: str(script))
    code, _, err = treadle("lab", "--export", str(tmp_path / "lab"))
    assert (code, err.count("\n")) == (2, 1)
    assert words in err
    assert not (tmp_path / "cache").exists()


@needs_runtime
def test_what_npm_gives_is_kept_for_the_next_time(tmp_path, monkeypatch):
    data = (runtime.cache_folder() / runtime.FILE).read_bytes()
    monkeypatch.setattr(runtime, "cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(runtime, "_fetched", lambda: data)
    first = runtime.runtime_from(None)
    monkeypatch.setattr(runtime, "_fetched", lambda: pytest.fail("fetched twice"))
    assert runtime.runtime_from(None) == first
    assert runtime.runtime_from(tmp_path / "cache" / runtime.FILE) == first
    assert [path.name for path in (tmp_path / "cache").iterdir()] == [runtime.FILE]
    # One that was damaged meanwhile is not used.
    (tmp_path / "cache" / runtime.FILE).write_bytes(data[:-1])
    with pytest.raises(runtime.RequestError, match="SHA-256"):
        runtime.runtime_from(None)


def test_two_that_fetch_at_once_both_get_it(tmp_path, monkeypatch):
    both_fetched = Barrier(2, timeout=PATIENCE_S)

    def fetched():
        both_fetched.wait()
        return b"a package"

    monkeypatch.setattr(runtime, "cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(runtime, "_fetched", fetched)
    monkeypatch.setattr(runtime, "_checked", lambda data, place: data)
    monkeypatch.setattr(runtime, "_opened", lambda data: data)
    with ThreadPoolExecutor(2) as processes:
        given = [processes.submit(runtime.runtime_from, None) for _ in range(2)]
    assert [one.result() for one in given] == [b"a package", b"a package"]
    assert [path.name for path in (tmp_path / "cache").iterdir()] == [runtime.FILE]


def test_nothing_of_the_runtime_lies_in_the_project():
    large = [
        path
        for path in (ROOT / "host_sim").rglob("*")
        if path.is_file() and path.suffix in (".wasm", ".tgz", ".mjs")
    ]
    assert large == []
