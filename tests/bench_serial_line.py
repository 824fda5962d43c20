"""How close a scan comes to the line's own minimum, on a pseudo-terminal paced at the baud rate.

    python tests/bench_serial_line.py

The minimum of a poll is an 8-byte request, an answer of 5 + 2N bytes and two silences of t3.5, eleven bits a
character: what the line itself takes from a drive that answers at once. Limits: 1.05 at 9600 and 19200
baud, 1.06 at 38400, 1.12 at 115200 with 10 registers. Processor time a poll is that of our side alone. The
drive runs as a process of its own, so that the two do not share an interpreter.
"""

from __future__ import annotations

import os
import pty
import statistics
import struct
import sys
import time
import tty
from multiprocessing import Process
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from collector.bus import ReadOnlyBus
from collector.bus.crc import with_crc
from collector.bus.line_setting import BITS_A_CHARACTER, silence_s
from collector.site import Bus

LIMITS = {9_600: 1.05, 19_200: 1.05, 38_400: 1.06, 115_200: 1.12}
ROUNDS = 3
POLLS = {9_600: 25, 19_200: 40, 38_400: 60, 115_200: 150}
LUMP_S = 0.001
"""Bytes go out in lumps of a millisecond at most, as from an adapter whose latency timer is set to 1 ms."""


def drive(master: int, baud: int) -> None:
    """Answer as the fastest drive allowed: t3.5 after the request's last character, at the line's pace."""
    character_s = BITS_A_CHARACTER / baud
    while True:
        request = os.read(master, 256)
        begun_s = time.monotonic() + len(request) * character_s + silence_s(baud)
        count = struct.unpack(">H", request[4:6])[0]
        answer = with_crc(bytes((request[0], request[1], 2 * count)) + bytes(2 * count))
        lump = max(1, int(LUMP_S / character_s))
        for start in range(0, len(answer), lump):
            end = min(start + lump, len(answer))
            wait_s = begun_s + end * character_s - time.monotonic()
            if wait_s > 0:
                time.sleep(wait_s)
            os.write(master, answer[start:end])


def measure(baud: int, registers: int) -> tuple[float, float]:
    """Return the time of a poll over the line's minimum, and our processor time a poll [s]."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    process = Process(target=drive, args=(master, baud), daemon=True)
    process.start()
    bus = Bus(name="bench", kind="serial", port=os.ttyname(slave), baud=baud)
    try:
        with ReadOnlyBus(bus) as line:
            line.read_registers(1, "holding", 0, registers)
            begun_s, busy_s = time.perf_counter(), time.process_time()
            for _ in range(POLLS[baud]):
                line.read_registers(1, "holding", 0, registers)
            took_s = (time.perf_counter() - begun_s) / POLLS[baud]
            busy_s = (time.process_time() - busy_s) / POLLS[baud]
    finally:
        process.terminate()
        process.join()
        os.close(master)
        os.close(slave)
    minimum_s = (8 + 5 + 2 * registers) * BITS_A_CHARACTER / baud + 2 * silence_s(baud)
    return took_s / minimum_s, busy_s


def main() -> int:
    """Measure all lines, interleaved over the rounds; 1 when a median breaks its limit."""
    lines = [(baud, registers) for baud in LIMITS for registers in (10, 40)]
    results: dict[tuple[int, int], list[tuple[float, float]]] = {line: [] for line in lines}
    for _ in range(ROUNDS):
        for line in lines:
            results[line].append(measure(*line))
    broken = 0
    print(" baud  registers  time/minimum (lowest to highest)  limit  processor µs a poll")
    for (baud, registers), rounds in results.items():
        ratios = sorted(ratio for ratio, _ in rounds)
        busy_us = statistics.median(busy for _, busy in rounds) * 1e6
        ratio = statistics.median(ratios)
        broken += ratio > LIMITS[baud]
        spread = f"{ratio:.3f} ({ratios[0]:.3f} to {ratios[-1]:.3f})"
        print(f"{baud:6} {registers:8}   {spread:32} {LIMITS[baud]:5.2f} {busy_us:12.0f}")
    return int(broken > 0)


if __name__ == "__main__":
    raise SystemExit(main())
