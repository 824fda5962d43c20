"""Simulated lines for listening: in time of their own, or behind a real pseudo-terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.port import Lump
from simulator.drives import MAPS, Drive
from simulator.lines import ForeignMaster, SharedLine, uart

SHOWN: Final = {"speed_rpm": 2400.0, "power_w": 1180.0, "flow_m3h": 32.2, "head_m": 8.4, "energy_kwh": 512.3}
READS: Final = ((1, 3, 10, 4), (1, 3, 20, 2), (5, 4, 100, 14), (9, 3, 200, 8), (30, 3, 0, 10))
"""Of drive A, B and C under numbers 1, 5 and 9; under 30 there is nobody."""


def drives(shown: Mapping[str, float] = SHOWN) -> list[Drive]:
    made = [Drive(1, MAPS["A"]), Drive(5, MAPS["B"], turn_around_s=0.012), Drive(9, MAPS["C"])]
    for drive in made:
        drive.show(shown)
    return made


def polled_line(
    setting: LineSetting,
    *,
    every_s: float = 1.0,
    reads: tuple[tuple[int, int, int, int], ...] = READS,
    **line: object,
) -> SharedLine:
    """A line with drives and a building controller that polls them."""
    master = ForeignMaster(reads=reads, every_s=every_s, timeout_s=0.2)
    return SharedLine(simulated(setting), drives(), [master], **line)  # type: ignore[arg-type]


def simulated(setting: LineSetting) -> uart.LineSetting:
    """The setting in the words of the simulator, which knows nothing of ours."""
    return uart.LineSetting(setting.baud, setting.parity, setting.stop_bits)


class LinePort:
    """A port on a simulated line in whose time nothing is waited for: minutes pass in milliseconds.

    It shows parity and stop bit errors as a UART with exactly these settings would see them, bit by bit;
    with ``follows_parity`` its parity is the line's and no error shows, as behind a pseudo-terminal.
    """

    def __init__(
        self,
        line: SharedLine,
        *,
        follows_parity: bool = False,
        lump_s: float = 0.001,
    ) -> None:
        self.place = "a simulated line"
        self.shows_parity = True
        self.settings: list[LineSetting] = []
        self._line = line
        self._follows_parity = follows_parity
        self._lump_s = lump_s

    def set(self, setting: LineSetting) -> None:
        self.settings.append(setting)
        parity = self._line.setting.parity if self._follows_parity else setting.parity
        # As on a terminal: whether it heeds a parity shows when one is asked for.
        self.shows_parity = not self._follows_parity or setting.parity == "N"
        self._line.set_port(uart.LineSetting(setting.baud, parity, setting.stop_bits))
        self._line.heard()

    def read(self, wait_s: float) -> Lump:
        until_s = self._line.now_s + wait_s
        while self._line.now_s < until_s:
            self._line.advance(min(until_s, self._line.now_s + self._lump_s))
            came = self._line.heard()
            if came:
                bad = [place for place, each in enumerate(came) if each.parity_error or each.framing_error]
                data = bytes(each.byte for each in came)
                return Lump(self._line.now_s, data, tuple(bad) if not self._follows_parity else ())
        return Lump(self._line.now_s, b"")

    def close(self) -> None:
        pass
