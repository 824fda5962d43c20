"""A bus that is only listened to: another master's polling becomes readings, over real pseudo-terminals."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path

import pytest

from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.clock import Clock
from collector.listening import PortTrouble
from collector.listening.port import Lump
from collector.poll import bus_listener, poll_site
from collector.poll.outbox import Outbox
from collector.reading import FailureKind, Source
from collector.registers import load_register_map
from collector.site import Site, SiteFileError, load_site
from simulator.lines import Disturbance, ForeignMaster, PortWiring, SharedLine, running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.listening.lines import SHOWN, drives, simulated
from tests.collector.listening.streams import answer, read
from tests.collector.poll.test_poll_site import Kept, polling

SETTING = parse_line_setting("38400 8E1")
MAP_A = """
[map]
name = "A"
addresses = "one-based"
[quantity]
speed_rpm = { table = "holding", address = 11, type = "u16", unit = "rpm" }
power_w = { table = "holding", address = 13, type = "u16", unit = "W" }
flow_m3h = { table = "holding", address = 21, type = "u16", scale = 0.1, unit = "m3/h" }
head_m = { table = "holding", address = 22, type = "u16", scale = 0.1, unit = "m" }
"""
MAP_B = """
[map]
name = "B"
addresses = "zero-based"
word_order = "little"
[quantity]
speed_rpm = { table = "input", address = 100, type = "f32", unit = "rpm" }
power_w = { table = "input", address = 102, type = "f32", unit = "W" }
flow_m3h = { table = "input", address = 104, type = "f32", unit = "m3/h" }
head_m = { table = "input", address = 106, type = "f32", unit = "m" }
"""
ROUND = ((1, 3, 10, 4), (1, 3, 20, 2), (5, 4, 100, 14))


def site_of(
    folder: Path, port: str, pumps: Sequence[tuple[str, int, str]], interval_s: float | None = None
) -> Site:
    for name, text in (("a.toml", MAP_A), ("b.toml", MAP_B)):
        (folder / name).write_text(text, encoding="utf-8")
    every = "" if interval_s is None else f"interval_s = {interval_s}\n"
    tables = "".join(
        f'[[pump]]\nname = "{name}"\nbus = "line"\nunit_id = {unit}\nregister_map = "{register_map}"\n'
        for name, unit, register_map in pumps
    )
    path = folder / "site.toml"
    path.write_text(
        '[site]\nname = "s"\ntime_zone = "UTC"\n[[bus]]\nname = "line"\nkind = "serial"\n'
        f'port = "{port}"\nbaud = {SETTING.baud}\nlisten_only = true\n{every}{tables}',
        encoding="utf-8",
    )
    return load_site(path)


def polled_by_another(
    reads: Sequence[tuple[int, int, int, int]] = ROUND, every_s: float = 0.2, **line: object
) -> SharedLine:
    master = [ForeignMaster(reads=reads, every_s=every_s, timeout_s=0.1)] if reads else []
    return SharedLine(simulated(SETTING), drives(), master, **line)  # type: ignore[arg-type]


def wait_for(is_so: Callable[[], object], within_s: float = 20.0) -> None:
    ends_s = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < ends_s, "did not come in time"
        time.sleep(0.02)


def test_each_round_of_the_other_master_is_a_reading_and_nothing_is_sent(tmp_path: Path) -> None:
    line, end, kept = polled_by_another(), TerminalEnd(), Kept()
    begun_ms = time.time_ns() // 10**6
    with (
        running(line, end),
        polling(site_of(tmp_path, end.port, [("A", 1, "a.toml"), ("B", 5, "b.toml")]), kept),
    ):
        wait_for(lambda: len(kept.of("A")) >= 8 and len(kept.of("B")) >= 8)
    assert line.port_bytes_sent == 0
    for reading in kept.readings:
        assert reading.source is Source.HEARD
        assert begun_ms <= reading.time_utc_ms <= time.time_ns() // 10**6
        for name in ("speed_rpm", "power_w", "flow_m3h", "head_m"):
            assert getattr(reading, name) == pytest.approx(SHOWN[name], abs=0.06)
    assert kept.failures == []
    rounds = sum(exchange.request.data[0] == 5 for exchange in line.exchanges)
    assert len(kept.of("B")) <= rounds


def test_an_interval_that_is_stated_keeps_no_more_than_that(tmp_path: Path) -> None:
    line, end, kept = polled_by_another(every_s=0.1), TerminalEnd(), Kept()
    with running(line, end), polling(site_of(tmp_path, end.port, [("A", 1, "a.toml")], interval_s=1.0), kept):
        wait_for(lambda: len(kept.readings) >= 3)
    times_ms = [reading.time_utc_ms for reading in kept.readings]
    assert all(after - before >= 800 for before, after in pairwise(times_ms))


FAILURES = [
    ((1, "a.toml"), (), {}, FailureKind.NO_REPLY, "the line is silent"),
    ((7, "a.toml"), ROUND, {}, FailureKind.NO_REPLY, "does not ask it; it asks 1, 5"),
    ((30, "a.toml"), (*ROUND, (30, 3, 10, 4)), {}, FailureKind.NO_REPLY, "asks it, but it does not answer"),
    ((1, "a.toml"), ((1, 3, 2, 3), (1, 3, 10, 40)), {}, FailureKind.REFUSED, "refuses what the other master"),
    ((5, "a.toml"), ROUND, {}, FailureKind.NO_REPLY, "reads input registers 100 to 113 of it"),
    (
        (1, "a.toml"),
        ((1, 3, 10, 2), (1, 3, 20, 2)),
        {"every_s": 0.05},
        FailureKind.DAMAGED,
        "several blocks of one length without a pause",
    ),
    ((1, "a.toml"), ROUND, {"port": PortWiring(is_swapped=True)}, FailureKind.DAMAGED, "wires are swapped"),
]


@pytest.mark.parametrize(
    ("pump", "reads", "line", "kind", "words"), FAILURES, ids=lambda value: str(value)[:24]
)
def test_a_pump_of_which_nothing_is_heard_is_a_failure_that_says_why(
    tmp_path: Path,
    pump: tuple[int, str],
    reads: Sequence[tuple[int, int, int, int]],
    line: dict[str, object],
    kind: FailureKind,
    words: str,
) -> None:
    end, kept = TerminalEnd(), Kept()
    site = site_of(tmp_path, end.port, [("P", *pump)], interval_s=0.3)
    with running(polled_by_another(reads, **line), end), polling(site, kept):
        wait_for(lambda: kept.failures)
    failure = kept.failures[0]
    assert (failure.kind, words in failure.sentence) == (kind, True), failure.sentence
    assert f"unit {pump[0]} on {end.port}: " in failure.sentence
    assert kept.readings == []


def test_a_port_that_is_not_there_is_said_and_waited_for(tmp_path: Path) -> None:
    kept = Kept()
    with polling(site_of(tmp_path, str(tmp_path / "no-adapter"), [("A", 1, "a.toml")]), kept):
        wait_for(lambda: len(kept.failures) >= 2)
    assert {failure.kind for failure in kept.failures} == {FailureKind.NO_LINK}
    assert "no such port" in kept.failures[0].sentence


def test_late_answers_give_no_wrong_value(tmp_path: Path) -> None:
    # Two blocks of one shape, and a drive that is often later than its master waits: the answer then comes
    # behind the next request. Registers 10 and 11 of drive A are a speed, 20 and 21 flow and head.
    line = polled_by_another(
        ((1, 3, 10, 2), (1, 3, 20, 2)), every_s=0.25, disturbance=Disturbance(late=0.3, late_s=0.11), seed=5
    )
    end, kept = TerminalEnd(), Kept()
    site = site_of(tmp_path, end.port, [("A", 1, "a.toml")])
    with running(line, end):
        stop = threading.Event()
        thread = threading.Thread(target=poll_site, args=(site, kept, Clock(), stop))
        thread.start()
        wait_for(lambda: line.trouble.done["late"] >= 8, 40.0)
        stop.set()
        thread.join(10)
    for reading in kept.readings:
        assert reading.speed_rpm in (None, pytest.approx(SHOWN["speed_rpm"], abs=1))
        assert reading.flow_m3h in (None, pytest.approx(SHOWN["flow_m3h"], abs=0.06))


class PortOfTalks:
    """A port that hands over what was said at stated times, and is then pulled out."""

    place = "a port"
    shows_parity = False

    def __init__(self, *talks: tuple[float, bytes]) -> None:
        self._lumps = [Lump(time.monotonic() + at_s, data) for at_s, data in ((0.0, b""), *talks)]

    def set(self, setting: LineSetting) -> None:
        pass

    def read(self, wait_s: float) -> Lump:
        if not self._lumps:
            raise PortTrouble("a port: the port was lost")
        return self._lumps.pop(0)

    def close(self) -> None:
        pass


def test_what_was_heard_before_the_port_was_lost_joins_nothing_heard_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Before, the speed of the first port and the flow of the second became one reading.
    speed = [(7.0, read(1, 3, 10, 4)), (7.02, answer(1, 3, bytes.fromhex("0960 0000 049C 0000")))]
    flow = [(7.0, read(1, 3, 20, 2)), (7.02, answer(1, 3, bytes.fromhex("0142 0054")))]
    site = site_of(tmp_path, "a port", [("A", 1, "a.toml")])
    stop, ports = threading.Event(), [PortOfTalks(*speed), PortOfTalks(*flow)]

    def opened(place: str) -> PortOfTalks:
        if not ports:
            stop.set()
            raise PortTrouble("a port: gone for good")
        return ports.pop(0)

    monkeypatch.setattr(bus_listener, "open_listening_port", opened)
    monkeypatch.setattr(bus_listener, "REOPEN_S", 0.01)
    kept = Kept()
    outbox = Outbox(kept)
    pumps = [(site.pumps[0], load_register_map(tmp_path / "a.toml"))]
    outbox.start()
    bus_listener.BusListener(site.buses[0], pumps, outbox, Clock(), stop).run()
    outbox.close(10.0)
    assert [(each.speed_rpm, each.flow_m3h) for each in kept.readings] == [
        (2400.0, None),
        (None, pytest.approx(32.2)),
    ]


@pytest.mark.parametrize("kind", ["tcp", "rtu_over_tcp"])
def test_listening_needs_a_serial_port(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "site.toml"
    path.write_text(
        f'[site]\nname = "s"\ntime_zone = "UTC"\n[[bus]]\nname = "b"\nkind = "{kind}"\nhost = "10.0.0.1"\n'
        "listen_only = true\n",
        encoding="utf-8",
    )
    with pytest.raises(SiteFileError, match="listen_only needs a serial port"):
        load_site(path)
