"""What is counted of a bus: over real pseudo-terminals, and against a clock that is set by hand."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path

import pytest

from collector.bus import Damaged, Echo, NoLink, NoReply, ReadOnlyBus, Refused
from collector.clock import Clock
from collector.line_quarter import QUARTER_MS, LineQuarter, reply_class, reply_quantile_s
from collector.poll import line_use, poll_site
from collector.poll.line_use import FIRST_MS, CountedBus, LineUse
from collector.poll.outbox import MOST_COUNTS_WAITING, Outbox
from collector.reading import PollFailure, Reading
from collector.site import Bus
from simulator.lines import running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.bus.serial_devices import Device, framed, honest, on_pseudo_terminal, serial_bus
from tests.collector.poll.test_listened_bus import polled_by_another, site_of, wait_for
from tests.collector.poll.test_poll_site import serial_table, site_with

BUS = Bus(name="line", kind="tcp", host="127.0.0.1")


class SetClock(Clock):
    """A clock that stands where it is put [ms UTC]."""

    now_ms = 10 * QUARTER_MS

    def now_utc_ms(self) -> int:
        return self.now_ms


def a_clock(now_ms: int) -> SetClock:
    SetClock.now_ms = now_ms
    return SetClock()


def moved_to(now_ms: int) -> None:
    SetClock.now_ms = now_ms


class Counts:
    """A sink of readings and counts in memory."""

    def __init__(self, refusals: int = 0) -> None:
        self.readings: list[Reading] = []
        self.quarters: list[LineQuarter] = []
        self._refusals = refusals

    def append(self, readings: Sequence[Reading]) -> None:
        self.readings.extend(readings)

    def failed(self, failures: Sequence[PollFailure]) -> None:
        """Take failures and forget them."""

    def counted(self, quarters: Sequence[LineQuarter]) -> None:
        if self._refusals:
            self._refusals -= 1
            raise RuntimeError("database is locked")
        self.quarters.extend(quarters)


def counted_reads(
    behave: Callable[[bytes], bytes], reads: Sequence[tuple[int, int]], **settings: float
) -> LineQuarter:
    """Read (unit, registers) in turn from a drive on a pseudo-terminal; return the one unit's counts."""
    with on_pseudo_terminal(behave) as drive:
        bus = serial_bus(drive, **{"timeout_s": 0.1, "late_reply_s": 0.01, **settings})
        use = LineUse(bus, Clock())
        with ReadOnlyBus(bus, tap=use) as read_only:
            counted = CountedBus(read_only, use)
            for unit, count in reads:
                try:
                    counted.read_registers(unit, "input", 10, count)
                except (NoReply, Damaged, Refused, Echo):
                    time.sleep(0.02)
    (quarter,) = use.last()
    return quarter


def test_answers_are_counted_with_their_length_and_time() -> None:
    quarter = counted_reads(honest, [(1, 2), (1, 2), (1, 7), (1, 8)])
    assert (quarter.requests, quarter.answers, quarter.long_answers) == (4, 4, 1)
    assert sum(quarter.reply_times) == 4
    assert 0 < quarter.busy_s <= quarter.watched_s


def test_a_drive_that_takes_its_time_shows_as_that() -> None:
    def slow(request: bytes) -> bytes:
        time.sleep(0.06)
        return honest(request)

    quarter = counted_reads(slow, [(1, 2)] * 3, timeout_s=2.0)
    half_s = reply_quantile_s(quarter.reply_times, 0.5)
    assert half_s is not None
    assert half_s >= 0.05


def test_silence_damage_refusal_and_echo_are_told_apart() -> None:
    def behave(request: bytes) -> bytes:
        count = request[5]
        answers = {
            2: b"",
            3: framed(bytes((1, 0x84, 4))),
            4: b"\x01\x04\x08" + bytes(10),
            5: request,
        }
        return answers.get(count, honest(request))

    quarter = counted_reads(behave, [(1, 3), (1, 5), (1, 4), (1, 2)], late_reply_s=0.01)
    assert (quarter.refused, quarter.echo, quarter.damaged, quarter.no_reply) == (1, 1, 1, 1)
    assert quarter.requests == 4


def test_damage_to_long_answers_is_told_apart() -> None:
    quarter = counted_reads(lambda request: bytes(9), [(1, 10), (1, 2)])
    assert (quarter.damaged, quarter.long_damaged) == (2, 1)


def test_a_silent_drive_takes_the_line_for_its_time_out() -> None:
    quarter = counted_reads(lambda request: b"", [(1, 2)], timeout_s=0.2)
    assert quarter.busy_s >= 0.2
    assert sum(quarter.reply_times) == 0


def test_a_read_that_was_left_out_is_no_request() -> None:
    use = LineUse(BUS, Clock())
    use.failed(1, NoReply("silent for long"), 9, use.asks())
    assert use.last() == []


def test_a_port_that_is_away_is_no_request_and_takes_no_line_time() -> None:
    use = LineUse(BUS, Clock())
    use.failed(1, NoLink("the port was lost"), 9, use.asks() - 3.0)
    (quarter,) = use.last()
    assert (quarter.no_link, quarter.requests, quarter.busy_s) == (1, 0, 0.0)


def test_a_refusal_that_may_be_an_older_requests_has_no_reply_time() -> None:
    use = LineUse(BUS, Clock())
    for certain in (True, False):
        begun_s = use.asks()
        use.sent(b"12345678")
        use.failed(1, Refused("refused", 2, certain=certain), 9, begun_s)
    (quarter,) = use.last()
    assert (quarter.refused, sum(quarter.reply_times)) == (2, 1)


def test_the_time_on_a_serial_line_is_not_the_drives() -> None:
    serial = Bus(name="line", kind="serial", port="/dev/null", baud=1200)
    use = LineUse(serial, Clock())
    begun_s = use.asks()
    use.sent(bytes(8))
    use.answered(1, 255, begun_s)
    (quarter,) = use.last()
    # 263 characters of 11 bits take 2.4 s at 1200 baud: this answer came sooner than the line can carry it.
    assert quarter.reply_times[0] == 1


def counted_at(use: LineUse, now_ms: int) -> list[tuple[int, int]]:
    """Count an answer and move the clock; return start and end of what closes [ms UTC]."""
    use.answered(1, 9, use.asks())
    moved_to(now_ms)
    return [(each.start_utc_ms, each.end_utc_ms) for each in use.closed()]


def test_the_first_part_closes_after_a_minute_and_the_next_grow_to_quarters() -> None:
    start = 10 * QUARTER_MS
    use = LineUse(BUS, a_clock(start))
    minute = FIRST_MS
    assert counted_at(use, start + minute - 1) == []
    ends = [start]
    for now_ms in range(start + minute, start + 3 * QUARTER_MS + 1, minute):
        ends += [end for _, end in counted_at(use, now_ms)]
    minutes = [(end - start) // minute for end in ends]
    assert minutes == [0, 1, 2, 4, 8, 15, 30, 45]


def test_parts_lie_side_by_side_without_gap() -> None:
    start = 10 * QUARTER_MS + 123_456
    use = LineUse(BUS, a_clock(start))
    spans = [span for place in range(1, 60) for span in counted_at(use, start + place * 61_000)]
    assert spans[0][0] == start
    assert all(before[1] == after[0] for before, after in pairwise(spans))


def test_a_clock_that_is_set_back_loses_no_count() -> None:
    start = 10 * QUARTER_MS
    use = LineUse(BUS, a_clock(start))
    use.answered(1, 9, use.asks())
    moved_to(start - 3_600_000)
    (quarter,) = use.closed()
    assert (quarter.answers, quarter.start_utc_ms) == (1, start)
    assert quarter.end_utc_ms > quarter.start_utc_ms
    use.answered(1, 9, use.asks())
    moved_to(start - 3_600_000 + FIRST_MS * 20)
    assert [each.answers for each in use.closed()] == [1]


def test_units_that_were_not_asked_have_no_row() -> None:
    use = LineUse(BUS, a_clock(0))
    use.answered(3, 9, use.asks())
    use.answered(2, 9, use.asks())
    assert [each.unit for each in use.last()] == [2, 3]
    assert use.last() == []


def polled_for_a_while(folder: Path, device: Device, kept: Counts, rows: int) -> None:
    site = site_with(folder, serial_table(device), [("A", "line", 1), ("B", "line", 2)])
    stop = threading.Event()
    thread = threading.Thread(target=poll_site, args=(site, kept, Clock(), stop, kept))
    thread.start()
    try:
        wait_for(lambda: len(kept.quarters) >= rows)
    finally:
        stop.set()
        thread.join()


def test_polling_hands_counts_over_while_it_runs_and_what_is_left_at_the_stop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(line_use, "FIRST_MS", 300)
    kept = Counts()
    with on_pseudo_terminal(honest) as device:
        polled_for_a_while(tmp_path, device, kept, 4)
    assert {(each.bus, each.unit) for each in kept.quarters} == {("line", 1), ("line", 2)}
    # Nothing is counted twice or left out: as many answers as readings of one request each.
    assert sum(each.answers for each in kept.quarters) == len(kept.readings)
    assert len({(each.unit, each.start_utc_ms) for each in kept.quarters}) == len(kept.quarters)


def test_another_masters_exchanges_are_counted_for_all_its_units(tmp_path: Path) -> None:
    line, end, kept = polled_by_another(), TerminalEnd(), Counts()
    site = site_of(tmp_path, end.port, [("A", 1, "a.toml")])
    stop = threading.Event()
    thread = threading.Thread(target=poll_site, args=(site, kept, Clock(), stop, kept))
    with running(line, end):
        thread.start()
        try:
            wait_for(lambda: len(kept.readings) >= 6)
        finally:
            stop.set()
            thread.join()
    by_unit = {each.unit: each for each in kept.quarters}
    assert set(by_unit) == {1, 5}
    assert all(each.answers >= 4 and each.no_link == 0 for each in by_unit.values())
    assert all(0 < each.busy_s < each.watched_s for each in by_unit.values())


def test_a_drive_that_another_master_asks_in_vain_is_counted_as_silent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(line_use, "FIRST_MS", 300)
    line = polled_by_another([(1, 3, 10, 4), (77, 3, 10, 4)])
    end, kept = TerminalEnd(), Counts()
    site = site_of(tmp_path, end.port, [("A", 1, "a.toml"), ("Gone", 77, "a.toml")])
    stop = threading.Event()
    thread = threading.Thread(target=poll_site, args=(site, kept, Clock(), stop, kept))
    with running(line, end):
        thread.start()
        try:
            wait_for(lambda: sum(each.no_reply for each in kept.quarters if each.unit == 77) >= 3)
        finally:
            stop.set()
            thread.join()
    assert sum(each.answers + each.damaged for each in kept.quarters if each.unit == 77) == 0
    assert sum(each.no_reply for each in kept.quarters if each.unit == 1) == 0


def quarter(start_ms: int) -> LineQuarter:
    return LineQuarter(bus="b", unit=1, start_utc_ms=start_ms, end_utc_ms=start_ms + 1, watched_s=1, busy_s=0)


def test_counts_outlive_a_store_that_refuses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.poll.outbox.RETRY_S", 0.01)
    kept = Counts(refusals=3)
    box = Outbox(kept, kept)
    box.start()
    box.count([quarter(1)])
    box.put([Reading(pump="P", time_utc_ms=1)], [])
    box.count([quarter(2)])
    box.close(within_s=5.0)
    assert [each.start_utc_ms for each in kept.quarters] == [1, 2]
    assert len(kept.readings) == 1


def test_only_so_many_counts_wait_the_newest_staying() -> None:
    kept = Counts()
    box = Outbox(kept, kept)
    box.count([quarter(place) for place in range(MOST_COUNTS_WAITING + 5)])
    box.start()
    box.close(within_s=10.0)
    assert [each.start_utc_ms for each in kept.quarters] == list(range(5, MOST_COUNTS_WAITING + 5))


def test_without_a_place_for_them_counts_are_not_held() -> None:
    kept = Counts()
    box = Outbox(kept)
    box.count([quarter(1)])
    box.start()
    box.close(within_s=5.0)
    assert kept.quarters == []


def test_a_quantile_lies_in_the_class_of_its_reply() -> None:
    times = [0.0015, 0.004, 0.004, 0.012, 0.4]
    counts = [0] * 20
    for each in times:
        counts[reply_class(each)] += 1
    half_s, most_s = reply_quantile_s(counts, 0.5), reply_quantile_s(counts, 0.95)
    assert half_s is not None
    assert most_s is not None
    assert 0.003 <= half_s <= 0.005
    assert 0.3 <= most_s <= 0.5


def test_beyond_the_last_class_a_quantile_is_the_last_edge() -> None:
    assert reply_quantile_s([0] * 19 + [3], 0.95) == 2.0
