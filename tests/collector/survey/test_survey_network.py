"""Surveys over the network: a host of its own, a gateway for serial frames, gateways with nobody behind."""

from __future__ import annotations

import struct
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import pytest

from collector.site import Bus
from collector.survey import SettingSurvey, SurveyPlan, TroubleKind, survey
from simulator.drives import Drive
from simulator.lines import ModbusTcp, PacedLine, RtuOverTcp
from tests.collector.bus.serial_devices import Device, each_request, honest_tcp, on_socket, tcp_bus
from tests.collector.survey.surveyed import drive


@contextmanager
def served(server: ModbusTcp | RtuOverTcp) -> Iterator[Device]:
    server.start()
    try:
        yield Device(place="127.0.0.1", port=server.port)
    finally:
        server.stop()


def drives() -> dict[int, Drive]:
    return {unit: drive(unit) for unit in (1, 3)}


def surveyed(bus: Bus, units: Iterable[int], timeout_s: float = 0.2) -> SettingSurvey:
    plan = SurveyPlan(units=tuple(units), timeout_s=timeout_s, rounds=2)
    (seen,) = survey(bus, [None], plan, threading.Event())
    return seen


@pytest.mark.parametrize("kind", ["tcp", "rtu_over_tcp"])
def test_drives_behind_an_address_are_found_past_silent_ones(kind: str) -> None:
    """Five silent numbers in a row are more than polling takes before it calls a link half open."""
    server = ModbusTcp(drives()) if kind == "tcp" else RtuOverTcp(PacedLine(drives(), 115_200))
    with served(server) as device:
        seen = surveyed(tcp_bus(device, kind), (1, 4, 5, 6, 7, 8, 3))
    assert ([unit.unit for unit in seen.found], seen.link_trouble, seen.troubles) == ([1, 3], "", ())
    assert (seen.setting, seen.is_complete) == (None, True)
    assert all(unit.read and unit.identification and unit.turn_around_p50_s for unit in seen.found)


def test_a_host_where_nobody_has_the_number_is_silence() -> None:
    with served(ModbusTcp(drives())) as device:
        seen = surveyed(tcp_bus(device), (7, 8), timeout_s=0.1)
    assert [trouble.kind for trouble in seen.troubles] == [TroubleKind.NOTHING_ANSWERS]
    assert "unit number" in seen.troubles[0].words


def nobody_there(request: bytes) -> bytes:
    """The gateway's own exception 11: no answer from the drive."""
    transaction, _, _, unit, function = struct.unpack(">HHHBB", request[:8])
    return struct.pack(">HHHBBB", transaction, 0, 3, unit, function | 0x80, 11)


def test_a_gateway_that_reaches_nobody_finds_nobody() -> None:
    with on_socket(each_request(nobody_there, header=True)) as device:
        seen = surveyed(tcp_bus(device), (1, 2, 3), timeout_s=0.1)
    assert (seen.found, [trouble.kind for trouble in seen.troubles]) == ((), [TroubleKind.GATEWAY_ALONE])


def test_a_drive_beside_the_gateways_refusals_is_found() -> None:
    def only_two(request: bytes) -> bytes:
        return honest_tcp(request) if request[6] == 2 and request[7] != 43 else nobody_there(request)

    with on_socket(each_request(only_two, header=True)) as device:
        seen = surveyed(tcp_bus(device), (1, 2, 3), timeout_s=0.1)
    assert [unit.unit for unit in seen.found] == [2]


def test_a_host_that_is_away_is_told_in_the_result() -> None:
    with on_socket(each_request(honest_tcp, header=True)) as device:
        port = device.port
    seen = surveyed(tcp_bus(Device(place="127.0.0.1", port=port)), (1,))
    assert (seen.units_asked, seen.is_complete, "no connection" in seen.link_trouble) == (0, False, True)
