"""A whole site polled over real pseudo-terminals and sockets."""

from __future__ import annotations

import itertools
import statistics
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from itertools import pairwise
from pathlib import Path

import pytest

from collector.clock import Clock
from collector.poll import UndeliveredReadings, poll_site
from collector.reading import FailureKind, PollFailure, Reading
from collector.registers import RegisterMapError
from collector.site import Site, load_site
from tests.collector.bus.serial_devices import (
    Device,
    each_request,
    honest,
    honest_tcp,
    on_pseudo_terminal,
    on_socket,
)

MAP = """
[map]
name = "two neighbours"
addresses = "zero-based"
[quantity.speed_rpm]
table = "input"
address = 1200
type = "u16"
[quantity.head_m]
table = "input"
address = 1201
type = "u16"
scale = 0.01
unit = "m"
"""


class Kept:
    """A sink that keeps all in memory."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.failures: list[PollFailure] = []

    def append(self, readings: Sequence[Reading]) -> None:
        self.readings.extend(readings)

    def failed(self, failures: Sequence[PollFailure]) -> None:
        self.failures.extend(failures)

    def of(self, pump: str) -> list[Reading]:
        return [reading for reading in self.readings if reading.pump == pump]


def site_with(
    folder: Path, buses: str, pumps: Sequence[tuple[str, str, int]], register_map: str = MAP
) -> Site:
    (folder / "map.toml").write_text(register_map, encoding="utf-8")
    tables = "".join(
        f'[[pump]]\nname = "{name}"\nbus = "{bus}"\nunit_id = {unit}\nregister_map = "map.toml"\n'
        for name, bus, unit in pumps
    )
    path = folder / "site.toml"
    path.write_text(f'[site]\nname = "s"\ntime_zone = "UTC"\n{buses}{tables}', encoding="utf-8")
    return load_site(path)


def serial_table(device: Device, interval_s: float = 0.1, timeout_s: float = 0.1, name: str = "line") -> str:
    return (
        f'[[bus]]\nname = "{name}"\nkind = "serial"\nport = "{device.place}"\nbaud = 115200\n'
        f"interval_s = {interval_s}\ntimeout_s = {timeout_s}\nlate_reply_s = 0.01\nlisten_first_s = 0\n"
    )


def tcp_table(device: Device, interval_s: float = 0.1, timeout_s: float = 0.2) -> str:
    return (
        f'[[bus]]\nname = "net"\nkind = "tcp"\nhost = "127.0.0.1"\nport = {device.port}\n'
        f"interval_s = {interval_s}\ntimeout_s = {timeout_s}\n"
    )


@contextmanager
def polling(site: Site, sink: Kept, clock: Clock | None = None) -> Iterator[None]:
    stop = threading.Event()
    errors: list[Exception] = []

    def work() -> None:
        try:
            poll_site(site, sink, clock or Clock(), stop)
        except Exception as error:
            errors.append(error)

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield
    finally:
        begun_s = time.monotonic()
        stop.set()
        thread.join(10)
        assert time.monotonic() - begun_s < 5.0
        assert not thread.is_alive()
    if errors:
        raise errors[0]


def wait_for(condition: Callable[[], bool], within_s: float = 10.0) -> None:
    deadline_s = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < deadline_s, "waited in vain"
        time.sleep(0.01)


def test_pumps_of_a_line_and_of_a_gateway_are_read_side_by_side(tmp_path: Path) -> None:
    kept = Kept()
    with on_pseudo_terminal(honest) as line, on_socket(each_request(honest_tcp, header=True)) as gateway:
        pumps = [("A", "line", 1), ("B", "line", 2), ("C", "net", 1)]
        site = site_with(tmp_path, serial_table(line) + tcp_table(gateway), pumps)
        with polling(site, kept):
            wait_for(lambda: all(len(kept.of(name)) >= 5 for name in "ABC"))
    assert {(reading.speed_rpm, reading.head_m, reading.quality) for reading in kept.readings} == {
        (1200.0, 12.01, 0)
    }
    assert kept.failures == []


def test_readings_keep_their_period_and_their_order(tmp_path: Path) -> None:
    kept = Kept()
    with on_pseudo_terminal(honest) as line:
        with polling(site_with(tmp_path, serial_table(line), [("A", "line", 1)]), kept):
            wait_for(lambda: len(kept.readings) >= 21)
    times = [reading.time_utc_ms for reading in kept.readings]
    assert times == sorted(set(times))
    assert statistics.median(after - before for before, after in pairwise(times)) == pytest.approx(
        100, abs=10
    )


def test_a_pump_may_have_a_period_of_its_own(tmp_path: Path) -> None:
    kept = Kept()
    with on_pseudo_terminal(honest) as line:
        site = site_with(tmp_path, serial_table(line), [("A", "line", 1), ("B", "line", 2)])
        seldom = site.pumps[1].model_copy(update={"interval_s": 1.0})
        with polling(site.model_copy(update={"pumps": (site.pumps[0], seldom)}), kept):
            wait_for(lambda: len(kept.of("A")) >= 18)
    assert 1 <= len(kept.of("B")) <= 4


def test_a_faster_clock_reads_more_often_and_stamps_its_own_time(tmp_path: Path) -> None:
    kept = Kept()
    clock = Clock(simulated_start_ms=5_000_000, real_start_ms=time.time_ns() // 1_000_000, speed_up=60.0)
    with on_pseudo_terminal(honest) as line:
        with polling(
            site_with(tmp_path, serial_table(line, interval_s=6.0), [("A", "line", 1)]), kept, clock
        ):
            wait_for(lambda: len(kept.readings) >= 10)
    times = [reading.time_utc_ms for reading in kept.readings]
    assert times[0] >= 5_000_000
    assert statistics.median(b - a for a, b in pairwise(times)) == pytest.approx(6_000, rel=0.1)


def test_one_dead_unit_of_twenty_costs_the_others_less_than_a_tenth_of_the_line(tmp_path: Path) -> None:
    """The line is asked for more than it can carry, so each time-out spent on the dead unit delays all.

    Counted, not timed: the number of time-outs in the time that sixty scans took, so that a busy machine
    cannot change the outcome.
    """
    kept, time_out_s = Kept(), 0.1
    with on_pseudo_terminal(lambda request: b"" if request[0] == 5 else honest(request)) as line:
        pumps = [(f"P{unit}", "line", unit) for unit in range(1, 21)]
        with polling(site_with(tmp_path, serial_table(line, timeout_s=time_out_s), pumps), kept):
            wait_for(lambda: len(kept.of("P1")) >= 60, within_s=60.0)
        units = [request[0] for request in line.requests]
        settled = [place for place, unit in enumerate(units) if unit == 1][10]
        took_s = line.arrived_s[-1] - line.arrived_s[settled]
    tries = units[settled:].count(5)
    assert tries >= 1
    assert tries * time_out_s / took_s < 0.10
    assert {len(kept.of(name)) for name, _, unit in pumps if unit != 5} <= {60, 61, 62}
    assert {(failure.pump, failure.kind) for failure in kept.failures} == {("P5", FailureKind.NO_REPLY)}


def test_a_unit_that_comes_back_is_read_again(tmp_path: Path) -> None:
    kept = Kept()
    answers = itertools.chain([b"", b"", b""], itertools.repeat(None))

    def behave(request: bytes) -> bytes:
        answer = next(answers)
        return honest(request) if answer is None else answer

    with on_pseudo_terminal(behave) as line:
        with polling(site_with(tmp_path, serial_table(line), [("A", "line", 1)]), kept):
            wait_for(lambda: len(kept.readings) >= 3)
    assert [failure.kind for failure in kept.failures] == [FailureKind.NO_REPLY] * 3
    assert "unit 1 on /dev/pts/" in kept.failures[0].sentence


def test_a_gateway_that_appears_later_is_found(tmp_path: Path) -> None:
    kept = Kept()
    with on_socket(each_request(honest_tcp, header=True)) as gone:
        site = site_with(tmp_path, tcp_table(gone), [("A", "net", 1)])
    with ExitStack() as back, polling(site, kept):
        wait_for(lambda: len(kept.failures) >= 2)
        back.enter_context(on_socket(each_request(honest_tcp, header=True), port=gone.port))
        wait_for(lambda: len(kept.readings) >= 2)
    assert {failure.kind for failure in kept.failures} == {FailureKind.NO_LINK}
    assert "no connection (Connection refused)" in kept.failures[0].sentence


def test_an_adapter_put_back_is_read_within_five_seconds_however_long_the_period(tmp_path: Path) -> None:
    kept, adapter = Kept(), tmp_path / "adapter"
    with on_pseudo_terminal(honest) as line:
        bus = serial_table(line, interval_s=60.0).replace(line.place, str(adapter))
        with polling(site_with(tmp_path, bus, [("A", "line", 1)]), kept):
            wait_for(lambda: len(kept.failures) >= 1)
            adapter.symlink_to(line.place)
            wait_for(lambda: len(kept.readings) >= 1, within_s=5.0)
    assert "is the adapter plugged in" in kept.failures[0].sentence


def test_a_line_that_is_away_does_not_hold_up_another(tmp_path: Path) -> None:
    kept = Kept()
    with on_pseudo_terminal(honest) as line:
        away = serial_table(Device(place="/dev/ttyNOWHERE"), name="away")
        site = site_with(tmp_path, away + serial_table(line), [("A", "away", 1), ("B", "line", 1)])
        with polling(site, kept):
            wait_for(lambda: len(kept.of("B")) >= 5 and len(kept.failures) >= 2)
    assert {failure.pump for failure in kept.failures} == {"A"}
    assert len(kept.of("B")) >= 5


def test_a_store_that_is_locked_for_a_while_loses_nothing(tmp_path: Path) -> None:
    class Locked(Kept):
        refusals = 3

        def append(self, readings: Sequence[Reading]) -> None:
            self.refusals -= 1
            if self.refusals >= 0:
                raise RuntimeError("database is locked")
            super().append(readings)

    kept = Locked()
    with on_pseudo_terminal(honest) as line:
        with polling(site_with(tmp_path, serial_table(line), [("A", "line", 1)]), kept):
            wait_for(lambda: len(kept.readings) >= 25)
        assert len(kept.readings) == len(line.requests)


def test_readings_left_over_at_the_end_are_told(tmp_path: Path) -> None:
    class Broken(Kept):
        def append(self, readings: Sequence[Reading]) -> None:
            raise RuntimeError("disk is full")

    with on_pseudo_terminal(honest) as line:
        site = site_with(tmp_path, serial_table(line), [("A", "line", 1)])
        with pytest.raises(UndeliveredReadings, match="readings could not be stored: disk is full"):
            with polling(site, Broken()):
                wait_for(lambda: len(line.requests) >= 2)


def test_it_stops_within_five_seconds_while_it_waits_for_a_slow_drive(tmp_path: Path) -> None:
    with on_pseudo_terminal(lambda _: b"") as line:
        site = site_with(tmp_path, serial_table(line, timeout_s=30.0), [("A", "line", 1)])
        with polling(site, Kept()):
            wait_for(lambda: len(line.requests) >= 1)


def test_readings_of_the_healthy_are_stored_though_it_stops_while_a_silent_drive_is_awaited(
    tmp_path: Path,
) -> None:
    """At the first scan nobody knows yet that B is silent; its time-out is longer than the stop may take."""
    kept = Kept()
    with on_pseudo_terminal(lambda request: b"" if request[0] == 2 else honest(request)) as line:
        pumps = [("A", "line", 1), ("B", "line", 2), ("C", "line", 3)]
        site = site_with(tmp_path, serial_table(line, timeout_s=8.0), pumps)
        with polling(site, kept):
            wait_for(lambda: len(line.requests) >= 2)
        assert [request[0] for request in line.requests] == [1, 2]
    assert [reading.pump for reading in kept.readings] == ["A"]


def test_readings_of_the_healthy_are_stored_before_a_pump_known_to_be_silent_is_asked(tmp_path: Path) -> None:
    kept = Kept()
    stored_when_asked: list[int] = []

    def behave(request: bytes) -> bytes:
        if request[0] == 1:
            return honest(request)
        time.sleep(0.1)
        stored_when_asked.append(len(kept.readings))
        return b""

    with on_pseudo_terminal(behave) as line:
        site = site_with(tmp_path, serial_table(line, timeout_s=0.3), [("B", "line", 2), ("A", "line", 1)])
        with polling(site, kept):
            wait_for(lambda: len(stored_when_asked) >= 2)
        asked = [request[0] for request in line.requests]
    assert asked[0] == 2
    again = asked.index(2, 1)
    assert stored_when_asked[1] == asked[:again].count(1) > 0


def test_a_pump_whose_late_answer_may_still_come_holds_up_no_other(tmp_path: Path) -> None:
    """B answers its first block, then not its second: its next read waits two seconds, A's do not."""
    kept = Kept()
    far = MAP.replace("address = 1201", "address = 1301")

    def behave(request: bytes) -> bytes:
        return b"" if request[0] == 2 and request[2:4] == (1301).to_bytes(2) else honest(request)

    with on_pseudo_terminal(behave) as line:
        table = serial_table(line).replace("late_reply_s = 0.01", "late_reply_s = 2.0")
        site = site_with(tmp_path, table, [("B", "line", 2), ("A", "line", 1)], far)
        with polling(site, kept):
            wait_for(lambda: len(kept.of("A")) >= 30)
    gaps_ms = [after.time_utc_ms - before.time_utc_ms for before, after in pairwise(kept.of("A"))]
    assert max(gaps_ms) < 1500
    assert 2 <= len(kept.of("B")) <= 5


def test_a_wrong_register_map_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    with on_pseudo_terminal(honest) as line:
        site = site_with(tmp_path, serial_table(line), [("A", "line", 1)], register_map="[map]\n")
        with pytest.raises(RegisterMapError, match=r"map\.toml"):
            poll_site(site, Kept(), Clock(), threading.Event())
        assert line.requests == []


def test_a_site_without_buses_waits_to_be_stopped(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text('[site]\nname = "s"\ntime_zone = "UTC"\n[[pump]]\nname = "A"\n', encoding="utf-8")
    with polling(load_site(path), Kept()):
        time.sleep(0.05)
