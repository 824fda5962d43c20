"""A port that will not take the line's settings is no link, in one sentence, not a crash."""

from __future__ import annotations

import sys

import pytest

from collector.bus import NoLink, ReadOnlyBus
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
