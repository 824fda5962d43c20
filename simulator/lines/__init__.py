"""The ways to the drives: Modbus TCP, RTU framing over TCP, and a serial line at its own pace."""

from simulator.lines.disturbance import Disturbance, Trouble
from simulator.lines.modbus_tcp import ModbusTcp
from simulator.lines.paced_line import PacedLine, Wire, sleep_until
from simulator.lines.rtu_over_tcp import RtuOverTcp
from simulator.lines.serial_port import SerialPort

__all__ = [
    "Disturbance",
    "ModbusTcp",
    "PacedLine",
    "RtuOverTcp",
    "SerialPort",
    "Trouble",
    "Wire",
    "sleep_until",
]
