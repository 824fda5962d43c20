"""Simulated lines to be surveyed, behind a real pseudo-terminal."""

from __future__ import annotations

import threading
from collections.abc import Iterable

from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.site import Bus
from collector.survey import SettingSurvey, SurveyPlan, survey
from simulator.drives import MAPS, Drive
from simulator.lines import SharedLine, running, uart
from simulator.lines.terminal_end import TerminalEnd

QUICK = parse_line_setting("115200 8E1")
SHOWN = {"speed_rpm": 2400.0, "power_w": 1180.0, "flow_m3h": 32.2, "head_m": 8.4, "energy_kwh": 512.3}


def drive(unit: int, drive_map: str = "A", turn_around_s: float = 0.004) -> Drive:
    made = Drive(unit, MAPS[drive_map], turn_around_s=turn_around_s)
    made.show(SHOWN)
    return made


def wide_drive(unit: int) -> Drive:
    """A drive that gives 100 holding registers at once."""
    made = drive(unit)
    made.image = {("holding", place): 257 * place % 65_536 for place in range(100)}
    return made


def line_of(*drives: Drive, setting: LineSetting = QUICK, **line: object) -> SharedLine:
    in_its_words = uart.LineSetting(setting.baud, setting.parity, setting.stop_bits)
    return SharedLine(in_its_words, drives, **line)  # type: ignore[arg-type]


def serial_bus(port: str) -> Bus:
    return Bus(name="line", kind="serial", port=port)


def surveyed(
    line: SharedLine,
    *,
    units: Iterable[int],
    setting: LineSetting = QUICK,
    timeout_s: float = 0.15,
    is_thorough: bool = False,
    rounds: int = 2,
) -> SettingSurvey:
    """Survey a line through a real pseudo-terminal: there everything shows but parity."""
    plan = SurveyPlan(units=tuple(units), timeout_s=timeout_s, is_thorough=is_thorough, rounds=rounds)
    end = TerminalEnd()
    with running(line, end):
        (seen,) = survey(serial_bus(end.port), [setting], plan, threading.Event())
    return seen
