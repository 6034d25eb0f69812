"""The four forms of the firmware on a board, and the files of each.

source: the files as they are. bytecode: compiled, half the size. native: machine code by MicroPython's own
emitter, except for code that runs rarely. fused: the controller as one module of viper functions, made by the
translator; other code that runs in every period or for every edge is native, the rest bytecode.
"""

import ast
from functools import cache

from host_sim.boardlink.bytecode import compiled
from host_sim.boardlink.needed import ROOT, needed_files
from host_sim.boardlink.targets import FORM_NAMES, Target
from host_sim.errors import RequestError
from host_sim.forms.viper.by_the_byte import by_the_byte, classes_of_numbers
from host_sim.forms.viper.firmware import MODULE, fused_firmware
from host_sim.near_names import nearest

SETTINGS_FILE = "firmware/settings.py"
FORM_FILE = "boards/startable.py"  # It tells the board which form to report in its frames.
OFTEN = (
    "boards/analog.py",
    "boards/wired_board.py",
    "firmware/link/history.py",
    "firmware/link/recorder.py",
    "firmware/link/stream.py",
    "firmware/link/telemetry.py",
    "firmware/loop.py",
    "firmware/records.py",
    "firmware/ticks.py",
)
"""What runs in every period in addition to the controller and the board's own file."""
BY_THE_BYTE = ("firmware/link/items.py", "firmware/link/payload.py", "firmware/link/writing.py")
"""Functions that become viper functions in the fused form."""
SELDOM = (
    "boards/services.py",
    "boards/starting.py",
    "firmware/link/console.py",
    "firmware/link/lines.py",
    "firmware/link/place.py",
    "firmware/link/recording.py",
    "firmware/link/requests.py",
    "firmware/link/store.py",
    "firmware/settings.py",
)
"""What runs at a start or at rest: as machine code it is twice as large, too large for a Pico."""
_START = b"micropython.alloc_emergency_exception_buf(100)\n"
# Without it a Pico's memory is too fragmented to load all machine code, and the start fails.
_COLLECTING = b"import gc  # noqa: E402\n\ngc.threshold(16_384)\n"


def check_form(target: Target, form: str | None) -> str:
    """Return the form of a bundle for `target`; RequestError if the board can't have it."""
    if form is None:
        return target.form
    if form not in target.forms:
        allowed = ", ".join(target.forms)
        near = nearest(form, target.forms)
        hint = f", did you mean {near}?" if near else ""
        raise RequestError(f'--form is "{form[:60]}", allowed for {target.name} is {allowed}{hint}')
    return form


def files_in(target: Target, form: str) -> dict[str, bytes]:
    """Return the firmware and the board's files in a form; RequestError if they can't be compiled."""
    files = needed_files(target.name, _replaced() if form == "fused" else None)
    files[FORM_FILE] = form_file(files[FORM_FILE], form)
    if form == "source":
        return files
    files = {name: source for name, source in files.items() if not _only_says_what_it_is(name, source)}
    files[SETTINGS_FILE] = without_sentences(files[SETTINGS_FILE])
    if form == "bytecode":
        return compiled({name: without_slots(source) for name, source in files.items()})
    assert target.emitter is not None
    native = [name for name in files if name not in SELDOM]
    if form == "native":
        files["main.py"] = files["main.py"].replace(_START, _START + _COLLECTING)
    else:
        native = [*OFTEN, f"boards/{target.name}/board.py"]
    return compiled(files, target.emitter[0], native)


def form_file(source: bytes, form: str) -> bytes:
    """Return the file that says which form the board runs, with the number of `form` in it."""
    head, _, _ = source.rpartition(b"FORM = ")
    return head + f"FORM = {FORM_NAMES.index(form)}\n".encode("ascii")


def without_sentences(source: bytes) -> bytes:
    """Return the table of settings without its sentences: no board reads them, and they take 5 kB."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == "TABLE":
            assert isinstance(node.value, ast.Tuple)
            for row in node.value.elts:
                assert isinstance(row, ast.Tuple)
                row.elts[4] = ast.Constant("")
    return ast.unparse(tree).encode("ascii")


def without_slots(source: bytes) -> bytes:
    """Return a file without the lists of names in `__slots__`: MicroPython ignores them, and keeps the names.

    On a pyboard they would take 6 of the 95 kB that there are.
    """
    lines = source.split(b"\n")
    for made in (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.ClassDef)):
        for row in made.body:
            if isinstance(row, ast.Assign) and ast.unparse(row.targets[0]) == "__slots__":
                assert row.end_lineno is not None
                nothing = [b" " * row.col_offset + b"pass"]
                lines[row.lineno - 1 : row.end_lineno] = nothing * (row.end_lineno - row.lineno + 1)
    return b"\n".join(lines)


def _only_says_what_it_is(name: str, source: bytes) -> bool:
    """Return whether a file is only a package's docstring: MicroPython imports a folder without it too.

    On a FAT file system each would take a block, of which a pyboard has few.
    """
    return name.endswith("__init__.py") and len(ast.parse(source).body) <= 1


@cache
def _replaced() -> dict[str, bytes]:
    """Return the files that replace sources in the fused form."""
    fused = fused_firmware()
    placed, own = {"Controller": fused.cells}, classes_of_numbers(ROOT, BY_THE_BYTE)
    made = {name: by_the_byte(ROOT, name, placed, own) for name in BY_THE_BYTE}
    made[MODULE] = fused.source
    return {name: source.encode("ascii") for name, source in made.items()}
