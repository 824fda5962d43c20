"""How a port is opened: its control lines low, and in one sentence where it does not take its settings."""

from __future__ import annotations

import sys

import pytest
import serial

from collector.bus import NoLink, ReadOnlyBus
from collector.bus.links import open_link
from tests.collector.bus.serial_devices import honest, on_pseudo_terminal, serial_bus


@pytest.mark.skipif(sys.platform != "linux", reason="other systems keep the parity")
def test_a_port_that_does_not_take_the_parity_is_no_link() -> None:
    """Linux keeps no parity on a pseudo-terminal; its C library says so at the second opening."""
    with on_pseudo_terminal(honest) as drive:
        settings = {"parity": "E", "timeout_s": 0.3}
        with ReadOnlyBus(serial_bus(drive, **settings)) as bus:
            bus.connect()
        with pytest.raises(NoLink) as caught, ReadOnlyBus(serial_bus(drive, **settings)) as bus:
            bus.connect()
    assert "does not take the settings" in str(caught.value)
    assert "8E1" in str(caught.value)
    assert "\n" not in str(caught.value)


class WatchedPort(serial.Serial):
    """The library's own port, on an adapter that has control lines: each way they are driven is noted.

    A pseudo-terminal has none and refuses to drive them, so they are driven here alone.
    """

    driven: list[tuple[str, bool]]

    def open(self) -> None:
        self.driven = []
        OPENED.append(self)
        super().open()

    def _update_rts_state(self) -> None:
        self.driven.append(("RTS", self._rts_state))

    def _update_dtr_state(self) -> None:
        self.driven.append(("DTR", self._dtr_state))


OPENED: list[WatchedPort] = []


def test_neither_control_line_is_raised_at_opening_or_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """An adapter that switches its transmitter on by RTS would hold the line while the port is open."""
    monkeypatch.setattr(serial, "Serial", WatchedPort)
    OPENED.clear()
    with on_pseudo_terminal(honest) as drive, ReadOnlyBus(serial_bus(drive, timeout_s=0.3)) as bus:
        assert bus.read_registers(1, "holding", 0, 2) == b"\0\0\0\1"
    (port,) = OPENED
    assert sorted(set(port.driven)) == [("DTR", False), ("RTS", False)]


def test_the_library_left_alone_would_raise_both() -> None:
    """Else the test above would hold without our doing anything."""
    with on_pseudo_terminal(honest) as drive:
        port = WatchedPort(drive.place)
        port.close()
    assert sorted(set(port.driven)) == [("DTR", True), ("RTS", True)]


def test_a_port_stays_ours_alone() -> None:
    with on_pseudo_terminal(honest) as drive:
        link = open_link(serial_bus(drive))
        with pytest.raises(NoLink, match="in use by another program"):
            open_link(serial_bus(drive))
        link.close()
