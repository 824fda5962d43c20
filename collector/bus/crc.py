"""The checksum of a serial frame: CRC-16 with polynomial 0xA001 (reflected), start 0xFFFF, low byte first."""

from __future__ import annotations

from typing import Final

_POLYNOMIAL: Final = 0xA001
CRC_BYTES: Final = 2


def _table() -> tuple[int, ...]:
    entries = []
    for entry in range(256):
        for _ in range(8):
            entry = (entry >> 1) ^ (_POLYNOMIAL if entry & 1 else 0)
        entries.append(entry)
    return tuple(entries)


_TABLE: Final = _table()


def crc16(data: bytes | bytearray) -> int:
    """Return the checksum of the bytes.

    >>> hex(crc16(b"123456789"))
    '0x4b37'
    """
    crc = 0xFFFF
    table = _TABLE
    for byte in data:
        crc = (crc >> 8) ^ table[(crc ^ byte) & 0xFF]
    return crc


def with_crc(data: bytes) -> bytes:
    """Return the bytes followed by their checksum.

    >>> with_crc(bytes.fromhex("02 07")).hex(" ")
    '02 07 41 12'
    """
    return data + crc16(data).to_bytes(CRC_BYTES, "little")


def crc_is_right(frame: bytes | bytearray) -> bool:
    """Return whether the last two bytes are the checksum of those before them."""
    return len(frame) > CRC_BYTES and crc16(frame) == 0
