"""What the tests of the lines ask, and whom: two drives that show their unit number as speed."""

from __future__ import annotations

import os
import select

from pymodbus.framer import FramerRTU

from simulator.drives import MAPS, Drive


def drives() -> dict[int, Drive]:
    made = {unit: Drive(unit, MAPS["A"]) for unit in (1, 2)}
    for unit, drive in made.items():
        drive.show({"speed_rpm": 1000.0 * unit, "power_w": 640.0})
    return made


def framed(body: bytes) -> bytes:
    return body + FramerRTU.compute_CRC(body).to_bytes(2, "big")


def request(unit: int = 1, address: int = 10, count: int = 3) -> bytes:
    return framed(bytes([unit, 3]) + address.to_bytes(2, "big") + count.to_bytes(2, "big"))


def answer(unit: int, *registers: int) -> bytes:
    words = b"".join(word.to_bytes(2, "big") for word in registers)
    return framed(bytes([unit, 3, len(words)]) + words)


def heard(descriptor: int, for_s: float = 0.4) -> bytes:
    """Return what comes until the line has been silent for a while."""
    data = b""
    while select.select([descriptor], [], [], for_s)[0]:
        lump = os.read(descriptor, 4096)
        if not lump:
            break
        data += lump
    return data
