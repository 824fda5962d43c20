"""One bus: scan after scan until told to stop."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from typing import Final

from collector.bus import NoLink, ReadOnlyBus
from collector.clock import Clock
from collector.poll.line_use import CountedBus, LineUse
from collector.poll.listening_gate import ListeningGate
from collector.poll.outbox import Outbox
from collector.poll.pump_reader import PumpReader, is_no_link
from collector.poll.turns import LONGEST_BACK_OFF_S, Allowance, Turn, due_turns
from collector.reading import FailureKind, PollFailure, Reading
from collector.registers import RegisterMap
from collector.site import Bus, Pump

LONGEST_NAP_S: Final = 0.5
"""So that a lost port is tried again soon after it is back."""


class BusPoller:
    """Reads the pumps of one bus in turns and hands what it read over once a scan."""

    def __init__(
        self,
        bus: Bus,
        pumps: Sequence[tuple[Pump, RegisterMap]],
        outbox: Outbox,
        clock: Clock,
        stop: threading.Event,
    ) -> None:
        self._use = LineUse(bus, clock)
        self._bus = ReadOnlyBus(bus, tap=self._use, before_open=ListeningGate(bus, stop))
        self._counted = CountedBus(self._bus, self._use)
        self._outbox = outbox
        self._clock = clock
        self._stop = stop
        self._allowance = Allowance(bus.timeout_s, time.monotonic())
        now_s = time.monotonic()
        self._turns = [
            Turn(
                reader=PumpReader(pump.name, pump.unit_id or 0, register_map),
                period_s=clock.real_seconds(pump.interval_s or bus.interval_s),
                due_s=now_s,
            )
            for pump, register_map in pumps
        ]

    def run(self) -> None:
        """Scan until stop is set; a scan under way ends after the pump that is being read."""
        with self._bus:
            try:
                self._scan_until_stop()
            finally:
                self._outbox.count(self._use.last())

    def _scan_until_stop(self) -> None:
        # Opened before the first scan, so that listening first is no part of a read's time.
        was_open = False
        while not self._stop.is_set():
            if not was_open and self._back_again():
                self._all_due_now()
            # Counts go with a scan's own commit, so that they cost none of their own.
            self._outbox.count(self._use.closed())
            self._scan(due_turns(self._turns, time.monotonic()))
            was_open = self._bus.is_open
            self._stop.wait(self._pause_s(was_open))

    def _pause_s(self, link_is_open: bool) -> float:
        next_s = min(turn.due_s for turn in self._turns)
        if not link_is_open:
            next_s = min(next_s, max(self._bus.next_try_s, time.monotonic() + LONGEST_NAP_S))
        return max(0.0, next_s - time.monotonic())

    def _back_again(self) -> bool:
        try:
            self._bus.connect()
        except NoLink:
            return False
        return True

    def _all_due_now(self) -> None:
        now_s = time.monotonic()
        for turn in self._turns:
            turn.due_s = min(turn.due_s, now_s)

    def _scan(self, turns: list[Turn]) -> None:
        """Read the pumps in turn; what the healthy gave is handed over before the silent are asked.

        Each result is left in the outbox at once, so that a stop while a drive is awaited loses none.
        """
        waiting = False
        for turn in turns:
            if self._stop.is_set():
                break
            if turn.failures and waiting:
                self._outbox.hand_over()
                waiting = False
            result = self._read(turn)
            if isinstance(result, Reading):
                self._outbox.hold([result], [])
            elif result is not None:
                self._outbox.hold([], [result])
            waiting |= result is not None
        if waiting:
            self._outbox.hand_over()

    def _read(self, turn: Turn) -> Reading | PollFailure | None:
        """Read one pump and set its next turn; None when it is silent and the line has no time for it now.

        None too, once, when late answers of it may still come: the read would sleep and hold up the others,
        so it is left until they run dry. A second time it may sleep, for ``late_reply_s`` at most: on a line
        where strangers' answers never end, a pump would else never be read.
        """
        begun_s = time.monotonic()
        alone = len(self._turns) == 1
        quiet_s = self._bus.quiet_left_s(turn.reader.unit)
        turn.put_off = bool(quiet_s) and not alone and not turn.put_off
        if turn.put_off:
            turn.due_s = begun_s + quiet_s
            return None
        if turn.failures and not alone and not self._allowance.is_left(begun_s):
            turn.due_s = begun_s + turn.period_s
            return None
        result = turn.reader.read(self._counted, self._clock)
        now_s = time.monotonic()
        if isinstance(result, Reading) or result.kind is FailureKind.REFUSED or is_no_link(result):
            turn.answered(now_s)
        else:
            self._allowance.spend(now_s - begun_s)
            turn.was_silent(self._clock.real_seconds(LONGEST_BACK_OFF_S), now_s)
        # The others take their turns while late answers of this one run dry.
        turn.due_s = max(turn.due_s, now_s + self._bus.quiet_left_s(turn.reader.unit))
        return result
