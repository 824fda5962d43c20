"""The ways to the drives: Modbus TCP, RTU framing over TCP, and serial lines, plain ones and shared ones."""

from simulator.lines.bad_wire import BadWire, PortWiring
from simulator.lines.disturbance import Disturbance, Trouble
from simulator.lines.foreign_master import ForeignMaster
from simulator.lines.ledger import Exchange
from simulator.lines.live_line import LiveLine, running
from simulator.lines.modbus_tcp import ModbusTcp
from simulator.lines.paced_line import PacedLine, Wire, sleep_until
from simulator.lines.recording import Lump, record
from simulator.lines.rtu_over_tcp import RtuOverTcp
from simulator.lines.serial_port import SerialPort
from simulator.lines.shared_line import SharedLine
from simulator.lines.uart import LineSetting

__all__ = [
    "BadWire",
    "Disturbance",
    "Exchange",
    "ForeignMaster",
    "LineSetting",
    "LiveLine",
    "Lump",
    "ModbusTcp",
    "PacedLine",
    "PortWiring",
    "RtuOverTcp",
    "SerialPort",
    "SharedLine",
    "Trouble",
    "Wire",
    "record",
    "running",
    "sleep_until",
]
