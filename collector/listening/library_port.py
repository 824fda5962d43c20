"""A port behind the serial library, which is never asked to write: for Windows."""

from __future__ import annotations

import time

from collector.bus.line_setting import LineSetting
from collector.listening.port import Lump, PortTrouble, SettingRefused, trouble_of


class SerialLibraryPort:
    """Bytes as the library gives them; characters of a wrong parity look like good ones here."""

    def __init__(self, place: str) -> None:
        import serial

        self.place = place
        self.shows_parity = False
        try:
            self._port = serial.Serial(port=place, timeout=0, exclusive=True)
        except (OSError, ValueError) as error:
            raise trouble_of(place, error) from error

    def set(self, setting: LineSetting) -> None:
        """Hear with this setting from now on, and forget what came before; SettingRefused if it cannot."""
        try:
            self._port.baudrate = setting.baud
            self._port.parity = setting.parity
            self._port.stopbits = setting.stop_bits
            self._port.reset_input_buffer()
        except (OSError, ValueError) as error:
            raise SettingRefused(f"{self.place}: the port does not take {setting.words}") from error

    def read(self, wait_s: float) -> Lump:
        """Return what has come, waiting so long [s] for the first byte; no bytes when none came."""
        try:
            self._port.timeout = max(0.0, wait_s)
            data = self._port.read(1)
            data += self._port.read(self._port.in_waiting)
        except OSError as error:
            raise PortTrouble(
                f"{self.place}: the port was lost ({error}); is the adapter plugged in?"
            ) from error
        return Lump(time.monotonic(), data)

    def close(self) -> None:
        """Let the port go."""
        self._port.close()
