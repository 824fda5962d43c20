"""One unit on a line that is only listened to: what of all that is heard may be believed as its readings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from collector.listening.answer_order import AnswerOrder
from collector.listening.exchanges import Event, Exchange, Outcome, Unheard
from collector.listening.frames import READS
from collector.listening.nothing_heard import HeardOfUnit
from collector.listening.pump_ear import PumpEar
from collector.reading import Reading
from collector.registers import RegisterMap


class UnitEar:
    """Takes the events of the whole line, in order, and gives the readings of one unit that are certain.

    ``utc_ms`` tells the instant [ms UTC] of a time of the line's clock [s]. ``heard`` counts what came of the
    unit since :meth:`count_anew`, for a sentence when there was no reading.
    """

    def __init__(
        self,
        pump: str,
        unit: int,
        register_map: RegisterMap,
        late_reply_s: float,
        utc_ms: Callable[[float], int],
    ) -> None:
        self.unit = unit
        self.pump = pump
        self.heard = HeardOfUnit()
        self._order = AnswerOrder(unit, late_reply_s)
        self._ear = PumpEar(pump, register_map)
        self._utc_ms = utc_ms

    def take(self, event: Event) -> list[Reading]:
        """Take the next event of the line; return the rounds that are complete by it."""
        is_certain = self._order.is_certain(event)
        if isinstance(event, Unheard):
            self._ear.forget_periods()
            return self._ear.finish()
        if not isinstance(event, Exchange) or event.request.unit != self.unit:
            return []
        return self._exchange(event, is_certain=is_certain)

    def wait(self, now_s: float) -> list[Reading]:
        """Return the round that can have no more to come by this time of the line [s]."""
        return self._ear.wait(now_s)

    def finish(self) -> list[Reading]:
        """Return what the round under way has given: listening ends."""
        return self._ear.finish()

    def count_anew(self) -> None:
        """Forget what was counted."""
        self.heard = HeardOfUnit()

    def _exchange(self, exchange: Exchange, *, is_certain: bool) -> list[Reading]:
        is_mapped = exchange.request.function in READS and self._ear.holds(exchange.request.read)
        self.heard.take(exchange, is_certain=is_certain, is_mapped=is_mapped)
        if not is_mapped:
            return []
        if not is_certain:
            exchange = replace(exchange, outcome=Outcome.DAMAGED, answer=None)
        ended_s = (exchange.answer or exchange.request).ends_s
        return self._ear.take(exchange, self._utc_ms(ended_s))
