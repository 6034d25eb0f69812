"""UF2: a flash image cut into blocks of 512 bytes, each of which says where it belongs.

The format is published by its authors (github.com/microsoft/uf2): eight little-endian words, up to 476
bytes of data, a last word. The boot loader of the RP2040 wants 256 bytes of data in each block, and whole
sectors of 4096, which the image of a file system consists of.
"""

import struct

MAGIC_FIRST = 0x0A32_4655
MAGIC_SECOND = 0x9E5D_5157
MAGIC_LAST = 0x0AB1_6F30
FAMILY_PRESENT = 0x0000_2000
PAYLOAD_SIZE = 256
DATA_SIZE = 476
SECTOR_SIZE = 4_096


def uf2(image: bytes, address: int, family: int) -> bytes:
    """Return `image` for flash at `address`; both are whole sectors, else ValueError."""
    if address % SECTOR_SIZE or len(image) % SECTOR_SIZE or not image:
        raise ValueError(f"address and length must be whole sectors, got {address} and {len(image)}")
    count = len(image) // PAYLOAD_SIZE
    blocks = []
    for number in range(count):
        at = number * PAYLOAD_SIZE
        head = struct.pack(
            "<8I",
            *(MAGIC_FIRST, MAGIC_SECOND, FAMILY_PRESENT, address + at),
            *(PAYLOAD_SIZE, number, count, family),
        )
        data = image[at : at + PAYLOAD_SIZE].ljust(DATA_SIZE, b"\0")
        blocks.append(head + data + struct.pack("<I", MAGIC_LAST))
    return b"".join(blocks)
