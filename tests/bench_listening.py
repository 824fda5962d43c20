"""How fast and how surely a line is heard: ``python tests/bench_listening.py``, a few minutes, one process.

Lines are simulated to the bit and run in their own time, but for the last row, which is processor time.
"""

from __future__ import annotations

import itertools
import random
import sys
import threading
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.listening.decoder import StreamDecoder
from collector.listening.exchanges import Exchange, Pairing
from collector.listening.frames import HeardFrame
from collector.listening.setting_finder import BAUDS, SettingFinder
from simulator.lines import PortWiring
from tests.collector.listening.lines import READS, LinePort, polled_line
from tests.collector.listening.streams import answer, hurt, random_exchange, read
from tests.collector.listening.test_no_wrong_value_heard import TROUBLES, AnswerOrder, readings_on, wrong

FORMS = ("8E1", "8N1", "8O1", "8N2")
ROUNDS = (READS, READS[:1], ((5, 4, 100, 14),), ((1, 3, 10, 4), (30, 3, 0, 10)))


def searches() -> None:
    """Each of 24 settings, two kinds of receiver, four rounds of reads, three times to begin."""
    for every_s in (0.2, 0.5, 1.0, 2.0):
        times_s, wrong_ones = [], 0
        for baud, form, low, reads, seed in itertools.product(BAUDS, FORMS, (False, True), ROUNDS, range(3)):
            setting = parse_line_setting(f"{baud} {form}")
            line = polled_line(
                setting, every_s=every_s, reads=reads, port=PortWiring(starts_at_low_stop=low), seed=seed
            )
            chance = random.Random(seed)
            line.advance(2 * chance.random())
            begun_s = line.now_s
            port = LinePort(line, lump_s=chance.choice((0.001, 0.004, 0.016)))
            found = SettingFinder(port, begun_s + 120, threading.Event()).find()
            wrong_ones += found is None or found.setting != setting
            times_s.append(line.now_s - begun_s)
        times_s.sort()
        soon = sum(time_s <= 10 for time_s in times_s)
        print(
            f"search, a round of the master every {every_s} s: {len(times_s)} lines, {wrong_ones} wrong, "
            f"{soon} within 10 s, median {times_s[len(times_s) // 2]:.1f} s, longest {times_s[-1]:.1f} s",
            flush=True,
        )


def decoding(count: int, share: float) -> None:
    """Share of the undamaged exchanges that are decoded, and how many are invented."""
    chance = random.Random(7)
    sent: Counter[bytes] = Counter()
    found: Counter[bytes] = Counter()
    decoder, pairing = StreamDecoder(), Pairing()
    came = 0
    for _ in range(count):
        true = random_exchange(chance)
        data = hurt(true.both, share, chance)
        came += len(data)
        if data == true.both and true.answer:
            sent[true.request[:-2] + b"|" + true.answer[:-2]] += 1
        for event in pairing.take(decoder.feed(data, 0.0)):
            if isinstance(event, Exchange) and event.answer is not None:
                found[_both(event.request, event.answer)] += 1
    invented, missed = (found - sent).total(), (sent - found).total()
    print(
        f"decoding, {share:.1%} of bytes damaged: {count} exchanges, {came} bytes, {sent.total()} undamaged, "
        f"{missed} of them not decoded, {invented} invented",
        flush=True,
    )


def _both(request: HeardFrame, reply: HeardFrame) -> bytes:
    return bytes((request.unit,)) + request.pdu + b"|" + bytes((reply.unit,)) + reply.pdu


def noise(count: int) -> None:
    """Frames claimed in random bytes, after the decoder has come to know ten units."""
    decoder = StreamDecoder()
    for unit in range(1, 11):
        decoder.feed(read(unit, 3, 0, 1) + answer(unit, 3, b"\0\1"), 0.0)
    chance = random.Random(8)
    claimed: Counter[str] = Counter()
    for _ in range(count // 10_000):
        heard = decoder.feed(chance.randbytes(10_000), 0.0)
        claimed.update(each.role for each in heard if isinstance(each, HeardFrame))
    print(f"noise, {count} random bytes, ten units known: claimed {dict(claimed)}", flush=True)


def values(seconds: float) -> None:
    """Wrong values out of bad lines."""
    for trouble in TROUBLES:
        readings = readings_on(trouble, seconds, AnswerOrder(1.0), seed=3)
        print(
            f"values, {trouble}: {len(readings)} readings in {seconds:.0f} s, "
            f"{len(list(wrong(readings)))} values wrong",
            flush=True,
        )


def processor(setting: LineSetting, seconds: float) -> None:
    """Processor time to decode a line that is never silent, as a share of the line's own time."""
    chance = random.Random(9)
    size = int(seconds / setting.character_s)
    for share in (0.0, 0.05):
        data = b"".join(random_exchange(chance).both for _ in range(size // 40))[:size]
        data = hurt(data, share, chance)
        decoder, pairing = StreamDecoder(), Pairing()
        begun_s = time.process_time()
        for place in range(0, len(data), 20):
            pairing.take(decoder.feed(data[place : place + 20], 0.0))
        took_s = time.process_time() - begun_s
        print(
            f"processor, {setting.words} without a silence, {share:.0%} damaged: "
            f"{took_s / (len(data) * setting.character_s):.1%} of one core",
            flush=True,
        )


if __name__ == "__main__":
    searches()
    for damaged in (0.0, 0.01, 0.05):
        decoding(20_000, damaged)
    noise(2_000_000)
    values(1_800.0)
    processor(parse_line_setting("115200 8E1"), 10.0)
