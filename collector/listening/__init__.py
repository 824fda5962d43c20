"""Hearing a line without sending a byte: its setting, who asks whom for what, and the readings in it."""

from collector.listening.listen import listen, listen_at
from collector.listening.picture import LinePicture, UnitPicture
from collector.listening.port import PortTrouble
from collector.listening.writes_seen import WriteSeen

__all__ = ["LinePicture", "PortTrouble", "UnitPicture", "WriteSeen", "listen", "listen_at"]
