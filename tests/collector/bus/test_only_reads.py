"""Nothing but a read ever leaves: by construction, by the last check, by the syntax tree, and by a tap."""

from __future__ import annotations

import ast
import inspect
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import collector
from collector.bus import BusError, NotARead, ReadOnlyBus
from collector.bus.pdu import READING_FUNCTIONS, only_reads
from tests.collector.bus.serial_devices import honest, on_pseudo_terminal, serial_bus

COLLECTOR = Path(inspect.getfile(collector)).parent


def trees() -> dict[str, ast.Module]:
    return {
        str(path.relative_to(COLLECTOR)): ast.parse(path.read_text(encoding="utf-8"))
        for path in COLLECTOR.rglob("*.py")
    }


def calls(tree: ast.AST, method: str) -> list[ast.Call]:
    return [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == method
    ]


def test_the_functions_that_may_be_sent_are_the_five_that_read() -> None:
    assert frozenset({1, 2, 3, 4, 43}) == READING_FUNCTIONS


@given(pdu=st.binary(max_size=20))
def test_the_last_check_lets_reads_through_and_nothing_else(pdu: bytes) -> None:
    if pdu[:1] in (b"\x01", b"\x02", b"\x03", b"\x04") or pdu[:2] == b"\x2b\x0e":
        assert only_reads(pdu) == pdu
    else:
        with pytest.raises(NotARead):
            only_reads(pdu)


@pytest.mark.parametrize("function", sorted(set(range(256)) - {1, 2, 3, 4}))
def test_no_other_function_code_passes(function: int) -> None:
    with pytest.raises(NotARead):
        only_reads(bytes((function, 0, 0, 0, 1)))


def test_only_the_links_touch_a_port_or_a_socket() -> None:
    writers = {
        name
        for name, tree in trees().items()
        if calls(tree, "sendall")
        or calls(tree, "sendto")
        or (name.startswith("bus") and calls(tree, "write"))
    }
    assert writers == {"bus/links.py"}


def test_every_way_to_a_link_passes_the_last_check() -> None:
    senders = {name: calls(tree, "send") for name, tree in trees().items() if calls(tree, "send")}
    assert {name: len(found) for name, found in senders.items()} == {"bus/rtu.py": 1, "bus/mbap.py": 1}
    for name in senders:
        for function in ast.walk(trees()[name]):
            if isinstance(function, ast.FunctionDef) and calls(function, "send"):
                checks = [node for node in ast.walk(function) if isinstance(node, ast.Name)]
                assert "only_reads" in {node.id for node in checks}, name


def test_the_bus_offers_no_method_that_could_change_a_drive() -> None:
    public = {name for name, _ in inspect.getmembers(ReadOnlyBus) if not name.startswith("_")}
    asking = {"identify", "read_bits", "read_registers"}
    assert public == asking | {"close", "connect", "is_open", "next_try_s", "quiet_left_s"}


def test_the_collector_imports_no_library_that_can_write_to_a_drive() -> None:
    imported = {
        alias.name.split(".")[0]
        for tree in trees().values()
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    } | {
        (node.module or "").split(".")[0]
        for tree in trees().values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }
    assert "pymodbus" not in imported


def test_a_tap_on_the_line_sees_nothing_but_reads() -> None:
    chance = random.Random(7)

    def unreliable(request: bytes) -> bytes:
        return honest(request) if chance.random() < 0.7 and request[1] in (3, 4) else b""

    with on_pseudo_terminal(unreliable) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.03, late_reply_s=0.01)) as bus:
            for number in range(60):
                try:
                    bus.read_registers(1, ("holding", "input")[number % 2], number, 1 + number % 9)
                except BusError:
                    bus_error_seen = True
        assert bus_error_seen
        assert len(drive.requests) >= 30
        assert {request[1] for request in drive.requests} <= READING_FUNCTIONS
