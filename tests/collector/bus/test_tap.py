"""A tap sees every byte of a bus, each request before what came of it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import collector
from collector.bus import NoReply, ReadOnlyBus
from tests.collector.bus.serial_devices import (
    each_request,
    honest,
    honest_tcp,
    on_pseudo_terminal,
    on_socket,
    serial_bus,
    tcp_bus,
)


class Seen:
    def __init__(self) -> None:
        self.bytes: list[tuple[str, bytes]] = []

    def sent(self, frame: bytes) -> None:
        self.bytes.append(("sent", frame))

    def came(self, data: bytes) -> None:
        self.bytes.append(("came", data))

    def joined(self, kind: str) -> bytes:
        return b"".join(data for each, data in self.bytes if each == kind)


def test_a_tap_on_a_serial_bus_sees_what_the_drive_saw_and_said() -> None:
    seen = Seen()
    with on_pseudo_terminal(honest) as drive, ReadOnlyBus(serial_bus(drive), tap=seen) as bus:
        for address in range(3):
            bus.read_registers(1, "holding", address, 2)
        assert seen.joined("sent") == b"".join(drive.requests)
        assert seen.joined("came") == b"".join(honest(request) for request in drive.requests)
    assert seen.bytes[0][0] == "sent"


def test_a_tap_on_a_network_bus_sees_the_same() -> None:
    seen = Seen()
    with on_socket(each_request(honest_tcp, header=True)) as drive:
        with ReadOnlyBus(tcp_bus(drive), tap=seen) as bus:
            bus.read_registers(1, "input", 7, 2)
        assert seen.joined("sent") == drive.requests[0]
        assert seen.joined("came") == honest_tcp(drive.requests[0])


@pytest.mark.parametrize(("allowed", "connections"), [(3, False), (100, True)])
def test_who_expects_silence_keeps_the_link(allowed: int, connections: bool) -> None:
    def silent(_: bytes) -> bytes:
        return b""

    with on_socket(each_request(silent, header=True)) as drive:
        with ReadOnlyBus(tcp_bus(drive, timeout_s=0.02), silent_reads=allowed) as bus:
            for _ in range(3):
                with pytest.raises(NoReply):
                    bus.read_registers(1, "input", 7, 2)
            assert bus.is_open == connections


def test_only_the_survey_which_keeps_no_value_leaves_the_guard_against_late_replies_out() -> None:
    root = Path(collector.__file__).parents[1]
    places = {
        str(path.relative_to(root))
        for room in ("collector", "api")
        for path in (root / room).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "ReadOnlyBus"
        if any(keyword.arg == "late" for keyword in node.keywords)
    }
    assert places == {"collector/survey/asking.py"}
