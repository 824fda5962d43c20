"""``owncurve ports`` as a tech runs it."""

from __future__ import annotations

import json
import os
import pty
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.commands import main
from api.commands.ports_command import KEYED_BY_RTS, NONE_FOUND
from collector.ports import Adapter, Holder, Holders


@pytest.fixture
def terminal() -> Iterator[str]:
    far, near = pty.openpty()
    yield os.ttyname(near)
    os.close(near)
    os.close(far)


def shown(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *adapters: Adapter) -> str:
    monkeypatch.setattr("collector.ports.find_ports", lambda: adapters)
    assert main(["ports"]) == 0
    return capsys.readouterr().out


def test_without_a_port_it_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert shown(monkeypatch, capsys) == f"{NONE_FOUND}\n"


def test_below_the_ports_stands_once_what_kind_of_adapter_only_listens(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    told = shown(monkeypatch, capsys, Adapter(path="/dev/ttyUSB0"), Adapter(path="/dev/ttyUSB1"))
    assert told.splitlines()[-1] == KEYED_BY_RTS
    assert told.count("RTS line") == 1


def test_the_stable_path_comes_first_and_the_rest_below(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    adapter = Adapter(
        path="/dev/ttyUSB0",
        stable_path="/dev/serial/by-id/usb-ours",
        words="two-wire adapter",
        maker_words="Workshop",
        usb_vendor_id=0xFFF0,
        usb_product_id=1,
        serial_number="A1",
        holders=Holders(seen=(Holder(pid=40, name="logger"),)),
        rights_trouble="no permission: do this",
        latency_timer_ms=16,
        latency_path="/sys/x",
    )
    lines = shown(monkeypatch, capsys, adapter).splitlines()
    assert lines[0] == "/dev/serial/by-id/usb-ours"
    assert "now /dev/ttyUSB0" in lines[1]
    assert lines[2] == "  two-wire adapter, made by Workshop, USB fff0:0001, serial number A1"
    assert "in use by logger (pid 40)" in lines[3]
    assert lines[4] == "  no permission: do this"
    assert "every 16 ms" in lines[5]


@pytest.mark.parametrize(
    ("holders", "words"),
    [
        (Holders(), "  free"),
        (Holders(hidden_processes=3), 'not visible without rights: "sudo fuser -v /dev/ttyUSB0"'),
        (None, "cannot be seen on this system"),
    ],
)
def test_what_is_not_known_of_holders_is_said(
    holders: Holders | None,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert words in shown(monkeypatch, capsys, Adapter(path="/dev/ttyUSB0", holders=holders))


def test_elsewhere_it_says_that_the_timer_is_not_known(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    adapter = Adapter(path="/dev/cu.usb", usb_vendor_id=0xFFF0, usb_product_id=1)
    assert "cannot be seen here" in shown(monkeypatch, capsys, adapter)


def test_one_port_can_be_asked_for_as_json(terminal: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ports", terminal, "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)
    assert (told["path"], told["rights_trouble"], told["latency_timer_ms"]) == (terminal, "", None)


def test_a_port_that_is_not_there_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ports", "/dev/no-such-adapter"]) == 2
    assert capsys.readouterr().err == (
        "owncurve: /dev/no-such-adapter: there is no such port; owncurve ports lists them\n"
    )


@pytest.mark.skipif(sys.platform == "win32", reason="there a port is no file")
def test_what_is_no_port_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "site.toml"
    path.touch()
    assert main(["ports", str(path)]) == 2
    told = capsys.readouterr()
    assert (told.out, told.err) == (
        "",
        f"owncurve: {path} is a file, not a serial port; owncurve ports lists those of this machine\n",
    )
