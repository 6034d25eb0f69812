"""Builds the file system image of a board: littlefs as mounted by MicroPython, always the same bytes.

Read and program sizes, cache and name lengths are those with which the rp2 port mounts its flash: a file
that is stored inside its folder's block must fit the port's cache.
"""

from host_sim.boardlink.bytecode import HOW_TO_GET
from host_sim.boardlink.targets import FlashLayout
from host_sim.errors import RequestError

READ_SIZE = 32
PROG_SIZE = 256
CACHE_SIZE = 4 * PROG_SIZE
LOOKAHEAD_SIZE = 32
DISK_VERSION = 0x0002_0000  # 2.0: every driver of littlefs 2 reads it, and brings it up to date on writing.


def filesystem_image(files: dict[str, bytes], layout: FlashLayout) -> bytes:
    """Return the complete file system of `block_count` blocks with exactly `files` and no time stamps."""
    try:
        from littlefs import LittleFS, LittleFSError
    except ImportError:
        raise RequestError(
            f"a file system image needs littlefs-python, which is not installed, {HOW_TO_GET}"
        ) from None
    system = LittleFS(
        mount=False,
        block_size=layout.block_size,
        block_count=layout.block_count,
        read_size=READ_SIZE,
        prog_size=PROG_SIZE,
        cache_size=CACHE_SIZE,
        lookahead_size=LOOKAHEAD_SIZE,
        disk_version=DISK_VERSION,
    )
    system.format()
    system.mount()
    try:
        for name, content in sorted(files.items()):
            if "/" in name:
                system.makedirs(name.rpartition("/")[0], exist_ok=True)
            with system.open(name, "wb") as file:
                file.write(content)
    except LittleFSError as error:
        raise RequestError(f"the files do not fit the board's file system: {error}") from None
    system.unmount()
    return bytes(system.context.buffer)
