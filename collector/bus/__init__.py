"""The one door to a drive, through which only reads go."""

from collector.bus.errors import BusError, Damaged, Echo, NoLink, NoReply, Refused
from collector.bus.links import port_trouble_at_start
from collector.bus.pdu import BitTable, Identification, NotARead, RegisterTable
from collector.bus.read_only_bus import ReadOnlyBus

__all__ = [
    "BitTable",
    "BusError",
    "Damaged",
    "Echo",
    "Identification",
    "NoLink",
    "NoReply",
    "NotARead",
    "ReadOnlyBus",
    "Refused",
    "RegisterTable",
    "port_trouble_at_start",
]
