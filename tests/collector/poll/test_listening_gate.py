"""A serial line is listened to before it is asked: where another master polls, nothing is sent."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from collector.bus import NoLink
from collector.bus.line_setting import LineSetting
from collector.listening import LinePicture, PortTrouble
from collector.poll.listening_gate import (
    AGAIN_S,
    LONGEST_AGAIN_S,
    ListeningGate,
    OtherMaster,
    why_not_ask,
)
from collector.reading import FailureKind
from collector.site import Bus
from simulator.lines import ForeignMaster, SharedLine, running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.bus.serial_devices import honest, on_pseudo_terminal
from tests.collector.listening.lines import drives, simulated
from tests.collector.poll.test_poll_site import Kept, polling, serial_table, site_with, wait_for

SETTING = LineSetting(38_400, "E", 1)
LISTEN_S = 1.0


def picture(**heard: object) -> LinePicture:
    return LinePicture(
        **{"setting": None, "setting_is_sure": False, "seconds": 10.0, "bytes_heard": 0} | heard
    )  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("heard", "is_refused"),
    [
        (picture(), False),
        (picture(bytes_heard=7, noise_bytes=7), False),
        (picture(bytes_heard=8), True),
        (picture(bytes_heard=7, strays=1), True),
        (picture(bytes_heard=7, other_functions=((1, 65, 1),)), True),
    ],
)
def test_somebody_who_is_not_understood_is_a_reason_not_to_ask(heard: LinePicture, is_refused: bool) -> None:
    assert bool(why_not_ask(heard)) == is_refused


def test_noise_is_not_called_a_master_and_the_way_out_is_named() -> None:
    """An open line without bias gives bytes of its own; they are no proof that anybody speaks."""
    heard = why_not_ask(picture(bytes_heard=18, noise_bytes=18))
    assert "no whole frame: a master at another setting, or noise" in heard
    assert "somebody speaks" not in heard
    assert "--i-am-the-only-master" in heard


class Line:
    """What will be heard on a line, a port that may be away, and a clock; how often it was listened to."""

    def __init__(self) -> None:
        self.heard = picture()
        self.trouble = ""
        self.now_s = 1000.0
        self.times_s: list[float] = []
        self.stop = threading.Event()

    def listen(
        self, place: str, setting: LineSetting | None, seconds: float, stop: threading.Event
    ) -> LinePicture:
        assert (place, setting) == ("/dev/ttyUSB0", SETTING)
        self.times_s.append(self.now_s)
        if self.trouble:
            raise PortTrouble(self.trouble)
        self.now_s += seconds
        return self.heard

    def gate(self, **table: object) -> ListeningGate:
        bus = {"name": "line", "kind": "serial", "port": "/dev/ttyUSB0", "baud": 38_400} | table
        return ListeningGate(Bus.model_validate(bus), self.stop, self.listen, lambda: self.now_s)


MASTER = picture(bytes_heard=100, setting=SETTING, masters_seen=1)


def test_a_silent_line_is_asked_after_listening_longer_than_a_slow_masters_round() -> None:
    line = Line()
    line.gate()()
    assert line.now_s - 1000.0 > 10.0


def test_each_opening_is_listened_for_anew() -> None:
    line = Line()
    gate = line.gate()
    gate()
    line.heard = MASTER
    with pytest.raises(OtherMaster, match="a master polls this line at 38400 8E1"):
        gate()


def test_both_ways_out_are_named() -> None:
    line = Line()
    line.heard = MASTER
    with pytest.raises(OtherMaster) as caught:
        line.gate()()
    assert "listen_only = true in the site file" in str(caught.value)
    assert "--i-am-the-only-master" in str(caught.value)
    assert "\n" not in str(caught.value)


def listenings_in(line: Line, gate: Callable[[], None], seconds: float) -> list[float]:
    """Try each second for so long; return when the line was listened to, from the first time on [s]."""
    ends_s = line.now_s + seconds
    while line.now_s < ends_s:
        with pytest.raises(OtherMaster):
            gate()
        line.now_s += 1.0
    return [time_s - line.times_s[0] for time_s in line.times_s]


def test_a_line_that_is_masters_is_listened_to_again_ever_less_often() -> None:
    line = Line()
    line.heard = MASTER
    times_s = listenings_in(line, line.gate(listen_first_s=2.0), 3600.0)
    gaps_s = [after - before for before, after in pairwise(times_s)]
    # Two seconds of listening and up to two of trying each second stand beside each wait.
    assert gaps_s[:3] == pytest.approx([AGAIN_S, 2 * AGAIN_S, 4 * AGAIN_S], abs=4.0)
    assert max(gaps_s) == pytest.approx(LONGEST_AGAIN_S, abs=4.0)


def test_one_noisy_start_does_not_shut_a_service_out() -> None:
    line = Line()
    line.heard = picture(bytes_heard=50)
    gate = line.gate()
    with pytest.raises(OtherMaster):
        gate()
    line.heard = picture()
    line.now_s += AGAIN_S + 1.0
    gate()


@pytest.mark.parametrize(
    "table",
    [{"listen_first_s": 0}, {"kind": "tcp", "host": "127.0.0.1", "port": 502, "baud": 19_200}],
    ids=["switched off knowingly", "nothing of others is heard on a network"],
)
def test_where_listening_is_of_no_use_nobody_listens(table: dict[str, object]) -> None:
    line = Line()
    line.heard = MASTER
    if table.get("kind") == "tcp":
        table = {name: value for name, value in table.items() if name != "baud"}
        bus = Bus.model_validate({"name": "net"} | table)
        ListeningGate(bus, line.stop, line.listen)()
    else:
        line.gate(**table)()
    assert line.times_s == []


def test_a_port_that_is_away_is_no_link_and_tried_again_at_once() -> None:
    line = Line()
    line.trouble = "/dev/ttyUSB0: there is no such port"
    gate = line.gate()
    for _ in range(2):
        with pytest.raises(NoLink, match="no such port") as caught:
            gate()
        assert not isinstance(caught.value, OtherMaster)
    assert len(line.times_s) == 2


def test_a_stop_while_listening_does_not_open_the_line() -> None:
    line = Line()
    line.stop.set()
    with pytest.raises(NoLink, match="stopped"):
        line.gate()()


def listening_table(port: str) -> str:
    return (
        f'[[bus]]\nname = "shared"\nkind = "serial"\nport = "{port}"\nbaud = {SETTING.baud}\n'
        f"interval_s = 0.1\ntimeout_s = 0.3\nlate_reply_s = 0.01\nlisten_first_s = {LISTEN_S}\n"
    )


def test_a_bus_where_another_master_polls_is_not_asked_and_the_others_are(tmp_path: Path) -> None:
    master = ForeignMaster(reads=[(1, 3, 10, 4)], every_s=0.2, timeout_s=0.1)
    line, end, kept = SharedLine(simulated(SETTING), drives(), [master]), TerminalEnd(), Kept()
    with running(line, end), on_pseudo_terminal(honest) as other:
        tables = listening_table(end.port) + serial_table(other)
        site = site_with(tmp_path, tables, [("A", "shared", 1), ("B", "line", 1)])
        with polling(site, kept):
            wait_for(lambda: bool(kept.failures) and len(kept.of("B")) >= 20)
        assert line.port_bytes_sent == 0
    assert kept.of("A") == []
    assert {failure.pump for failure in kept.failures} == {"A"}
    failure = kept.failures[0]
    assert failure.kind is FailureKind.NO_LINK
    assert f"{end.port}: a master polls this line at 38400 8E1 (unit 1; " in failure.sentence


def test_a_line_without_another_master_is_asked_once_it_was_heard(tmp_path: Path) -> None:
    line, end, kept = SharedLine(simulated(SETTING), drives()), TerminalEnd(), Kept()
    with running(line, end):
        site = site_with(tmp_path, listening_table(end.port), [("A", "shared", 1)])
        begun_s = time.monotonic()
        with polling(site, kept):
            time.sleep(LISTEN_S / 2)
            assert line.port_bytes_sent == 0
            wait_for(lambda: bool(kept.of("A") or kept.failures) and line.port_bytes_sent > 0)
            assert time.monotonic() - begun_s >= LISTEN_S
    assert not any("master" in failure.sentence for failure in kept.failures)


def test_a_stop_while_listening_leaves_no_failure_behind(tmp_path: Path) -> None:
    line, end, kept = SharedLine(simulated(SETTING), drives()), TerminalEnd(), Kept()
    table = listening_table(end.port).replace(f"listen_first_s = {LISTEN_S}", "listen_first_s = 60")
    with running(line, end), polling(site_with(tmp_path, table, [("A", "shared", 1)]), kept):
        time.sleep(0.3)
    assert (kept.readings, kept.failures, line.port_bytes_sent) == ([], [], 0)
