"""Write FIT files byte by byte, independently of the library that reads them.

Layout from memory of the published FIT protocol: a 14-byte header, definition and data messages,
little-endian, and a CRC-16 (polynomial 0x8005 reflected, start 0) over everything before it. Message 20 is
`record`; its fields: 253 time stamp (s), 2 altitude (5 x (m + 500)), 4 cadence, 6 speed (mm/s), 7 power.
All ones: no value.
"""

import struct

_FIELDS = bytes([253, 4, 0x86, 2, 2, 0x84, 4, 1, 0x02, 6, 2, 0x84, 7, 2, 0x84])


def crc16(content: bytes) -> int:
    crc = 0
    for byte in content:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
    return crc


def fit_file(records: list[tuple[int, int | None, int | None, float | None, float | None]]) -> bytes:
    """Return a file of records (seconds, rpm, watts, m/s, m)."""
    body = bytes([0x40, 0, 0]) + struct.pack("<HB", 20, 5) + _FIELDS
    for seconds, rpm, watts, metres_per_second, metres in records:
        body += bytes([0]) + struct.pack(
            "<IHBHH",
            1_000_000_000 + seconds,
            0xFFFF if metres is None else round((metres + 500) * 5),
            0xFF if rpm is None else rpm,
            0xFFFF if metres_per_second is None else round(metres_per_second * 1000),
            0xFFFF if watts is None else watts,
        )
    header = struct.pack("<BBHI4s", 14, 0x20, 2132, len(body), b".FIT")
    content = header + struct.pack("<H", crc16(header)) + body
    return content + struct.pack("<H", crc16(content))
