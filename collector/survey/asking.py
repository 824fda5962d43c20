"""Asking units one by one over a bus that can only read, and judging what came of each request."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Final

from collector.bus import BusError, NoLink, ReadOnlyBus
from collector.bus.late_replies import LateReplies
from collector.bus.pdu import Shape
from collector.site import Bus
from collector.survey.judge import Verdict, judge_serial_frames, judge_tcp
from collector.survey.plan import Read
from collector.survey.said import LineRecord

NEVER: Final = 1_000_000
"""Silence is no sign of a half-open link here: most addresses are nobody's."""
TRIES_TO_OPEN: Final = 4


class _NothingIsLate(LateReplies):
    """Lets every answer be taken: a survey keeps no value, and must hear who is damaged time and again."""

    def may_come(self, unit: int, shape: Shape) -> bool:
        return False

    def quiet_left_s(self, unit: int, now_s: float) -> float:
        return 0.0


class Asker:
    """One link, one request at a time. Raises NoLink when the link cannot be had again."""

    def __init__(self, bus: Bus, timeout_s: float, stop: threading.Event) -> None:
        asked = Bus.model_validate(bus.model_dump(exclude_unset=True) | {"timeout_s": timeout_s})
        self._kind = bus.kind
        self._character_s = _character_s(bus)
        self._stop = stop
        self._record = LineRecord()
        self._bus = ReadOnlyBus(asked, tap=self._record, silent_reads=NEVER, late=_NothingIsLate(0.0))

    def __enter__(self) -> Asker:
        self._bus.connect()
        return self

    def __exit__(self, *_: object) -> None:
        self._bus.close()

    def ask(self, unit: int, read: Read) -> bool:
        """Ask for registers; return whether data came. Nobody is asked once the survey is to stop."""
        return self._asked(lambda: self._bus.read_registers(unit, *read))

    def identify(self, unit: int) -> dict[int, str]:
        """Return what the unit says it is, by object number; nothing when it offers nothing."""
        objects: dict[int, str] = {}
        self._asked(lambda: objects.update(self._bus.identify(unit).objects))
        return objects

    @property
    def requests(self) -> int:
        """How many requests went out; some asks send more than one, and some none."""
        return len(self._record.said)

    def verdicts(self, since: int = 0) -> list[Verdict]:
        """Return what became of each request from that one on; of the newest, what is known now."""
        said = self._record.said[since:]
        if self._kind == "tcp":
            return [judge_tcp(each) for each in said]
        return [judge_serial_frames(each, self._character_s) for each in said]

    def _asked(self, ask: Callable[[], object]) -> bool:
        for tries_left in reversed(range(TRIES_TO_OPEN)):
            if self._stop.is_set():
                return False
            try:
                ask()
            except NoLink:
                if self._kind == "serial" or not tries_left:
                    raise
                self._stop.wait(max(0.0, self._bus.next_try_s - time.monotonic()))
            except BusError:
                return False
            else:
                return True
        return False


def _character_s(bus: Bus) -> float:
    """Return the time of a character [s]; 0 where the line is beyond a gateway."""
    return bus.line_setting.character_s if bus.kind == "serial" else 0.0
