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
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.listening.decoder import StreamDecoder
from collector.listening.exchanges import Exchange, Pairing
from collector.listening.frames import HeardFrame
from collector.listening.setting_finder import BAUDS, FoundSetting, SettingFinder
from simulator.lines import BadWire, PortWiring
from tests.collector.listening.lines import READS, LinePort, polled_line
from tests.collector.listening.streams import answer, hurt, random_exchange, read
from tests.collector.listening.test_answer_order import LINES, told
from tests.collector.listening.test_no_wrong_value_heard import TROUBLES, readings_on, wrong

FORMS = ("8E1", "8N1", "8O1", "8N2")
Read = tuple[int, int, int, int]
ROUNDS: tuple[tuple[Read, ...], ...] = (READS, READS[:1], ((5, 4, 100, 14),), ((1, 3, 10, 4), (30, 3, 0, 10)))


def searches() -> None:
    """Each of 24 settings, two kinds of receiver, three times to begin; four rounds of reads, or one."""
    for every_s in (0.2, 0.5, 1.0, 2.0):
        search(every_s, 0.0, ROUNDS)
    search(1.0, 0.05, ROUNDS[:1])
    search(1.0, 0.05, ROUNDS[1:])


def search(every_s: float, damaged: float, rounds: Sequence[tuple[Read, ...]]) -> None:
    """Print how soon the setting is found where a round begins so often [s] and bytes are damaged."""
    times_s: list[float] = []
    soon: Counter[str] = Counter()
    wrong_ones = 0
    for baud, form, low, reads, seed in itertools.product(BAUDS, FORMS, (False, True), rounds, range(3)):
        setting = parse_line_setting(f"{baud} {form}")
        found, took_s = found_on(setting, every_s, damaged, reads, low=low, seed=seed)
        wrong_ones += found is not None and found.setting != setting
        soon[setting.words] += found is not None and found.setting == setting and took_s <= 10
        times_s.append(took_s)
    times_s.sort()
    of_each = len(times_s) // (len(BAUDS) * len(FORMS))
    always = sum(count == of_each for count in soon.values())
    print(
        f"search, a round of {min(map(len, rounds))} to {max(map(len, rounds))} reads every {every_s} s, "
        f"{damaged:.0%} of bytes damaged: {len(times_s)} lines, {wrong_ones} wrong, {soon.total()} right "
        f"within 10 s ({always} of 24 settings always), median {times_s[len(times_s) // 2]:.1f} s, "
        f"longest {times_s[-1]:.1f} s",
        flush=True,
    )


def found_on(
    setting: LineSetting, every_s: float, damaged: float, reads: tuple[Read, ...], *, low: bool, seed: int
) -> tuple[FoundSetting | None, float]:
    """Return what is found on a line within two minutes, and after how long [s]."""
    line = polled_line(
        setting,
        every_s=every_s,
        reads=reads,
        port=PortWiring(starts_at_low_stop=low),
        wire=BadWire(damaged_bytes=damaged),
        seed=seed,
    )
    chance = random.Random(seed)
    line.advance(2 * chance.random())
    begun_s = line.now_s
    port = LinePort(line, lump_s=chance.choice((0.001, 0.004, 0.016)))
    found = SettingFinder(port, begun_s + 120, threading.Event()).find()
    return found, line.now_s - begun_s


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
        readings = readings_on(trouble, seconds, seed=3)
        print(
            f"values, {trouble}: {len(readings)} readings in {seconds:.0f} s, "
            f"{len(list(wrong(readings)))} values wrong",
            flush=True,
        )


def orders(seeds: int, seconds: float) -> None:
    """Wrong answers believed, and right ones left, on lines of frames whose every register differs."""
    for name in LINES:
        counts: Counter[str] = Counter()
        for seed in range(seeds):
            counts += told(name, 1000 + seed, seconds)
        right = counts["believed right"] + counts["left right"]
        print(
            f"order, {name}: {counts.total()} answers, {counts['believed wrong']} wrong believed, "
            f"{counts['left wrong']} wrong left, {counts['left right'] / right:.1%} of the right left",
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
    orders(40, 300.0)
    processor(parse_line_setting("115200 8E1"), 10.0)
