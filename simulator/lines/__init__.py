"""The ways to the drives: Modbus TCP, RTU framing over TCP, and a serial line at its own pace."""

from simulator.lines.disturbance import Disturbance, Sent, Trouble
from simulator.lines.network import ModbusTcp, RtuOverTcp
from simulator.lines.paced_line import PacedLine, Wire, sleep_until
from simulator.lines.serial_port import SerialPort

__all__ = [
    "Disturbance",
    "ModbusTcp",
    "PacedLine",
    "RtuOverTcp",
    "Sent",
    "SerialPort",
    "Trouble",
    "Wire",
    "sleep_until",
]
