"""A master with parity may close the port and open it again: Linux and its C library make that hard."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator

import pytest
import serial

from simulator.lines import PacedLine, SerialPort
from tests.simulator.lines.masters import answer, drives, request

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")


@pytest.fixture
def port() -> Iterator[SerialPort]:
    made = SerialPort(PacedLine(drives(), 19_200))
    made.start()
    yield made
    made.stop()


@pytest.mark.parametrize("parity", ["N", "E", "O"])
def test_a_port_opens_again_and_again(port: SerialPort, parity: str) -> None:
    for _ in range(3):
        with serial.Serial(port.port, 19_200, parity=parity, timeout=1.0, exclusive=True) as master:
            master.write(request(count=1))
            assert master.read(7) == answer(1, 1000)
        time.sleep(0.15)


def test_a_port_opens_again_when_its_last_master_said_nothing(port: SerialPort) -> None:
    for _ in range(3):
        serial.Serial(port.port, 19_200, parity="E", timeout=1.0).close()
        time.sleep(0.15)
    with serial.Serial(port.port, 19_200, parity="E", timeout=1.0) as master:
        master.write(request(count=1))
        assert master.read(7) == answer(1, 1000)
