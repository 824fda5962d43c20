"""Finding who answers on a line or behind a gateway, by reads alone.

Each address is asked once for one register: a drive answers with it or refuses it, both are answers. Who
answered is then left a time-out in peace, so that a second drive with the same address can be heard too.
Those found are asked who they are, where they have data, and short and long reads by turns, for their times
and their errors.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from collector.bus import NoLink
from collector.bus.line_setting import LineSetting
from collector.site import Bus
from collector.survey.asking import Asker
from collector.survey.judge import Outcome, Verdict
from collector.survey.plan import (
    AGAIN,
    FIRST,
    LONG_COUNTS,
    PLACES,
    PLACES_COMPARED,
    TRIES,
    Read,
    SurveyPlan,
    at_setting,
)
from collector.survey.result import SettingSurvey, UnitFound
from collector.survey.tally import counts_of, unit_found
from collector.survey.timing import recommended_timing
from collector.survey.whose import whose_answers
from collector.survey.wiring import LEAST_FOREIGN, troubles_of

ENOUGH: Final = 2.0
"""Of the time a late unit took: so long it is waited for when it is timed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a survey is; ``left_s`` [s] is an estimate, as if nobody answered but those found so far."""

    words: str
    units_found: int
    left_s: float


News = Callable[[Progress], None]


def survey(
    bus: Bus,
    settings: Sequence[LineSetting | None],
    plan: SurveyPlan,
    stop: threading.Event,
    news: News = lambda _: None,
) -> Iterator[SettingSurvey]:
    """Yield what is found at each setting, the last one incomplete when it is stopped or a master is heard.

    ``settings`` is ``[None]`` for a network host. No error of the bus leaves here: a link that cannot be had
    is told in the result.
    """
    for place, setting in enumerate(settings):
        if stop.is_set():
            return
        later_s = sum(
            plan.longest_s(at_setting(bus, each), len(plan.units)) for each in settings[place + 1 :]
        )
        seen = _AtSetting(bus, setting, plan, stop, news, later_s)
        yield seen.survey()
        if seen.another_master:
            return


class _AtSetting:
    """The survey at one setting."""

    def __init__(
        self,
        bus: Bus,
        setting: LineSetting | None,
        plan: SurveyPlan,
        stop: threading.Event,
        news: News,
        later_s: float,
    ) -> None:
        self._bus = at_setting(bus, setting)
        self._setting = setting
        self._plan = plan
        self._stop = stop
        self._news = news
        self._later_s = later_s
        self._searched: list[Verdict] = []
        self._measured: list[Verdict] = []
        self._looked_at = 0
        self._foreign_requests = 0
        self._answering: list[int] = []
        self._reads: dict[int, Read] = {}
        self._spoilt: dict[int, Read] = {}
        self._identifications: dict[int, dict[int, str]] = {}

    def survey(self) -> SettingSurvey:
        begun_s = time.monotonic()
        trouble = ""
        try:
            self._search()
            self._measure()
        except NoLink as error:
            trouble = str(error)
        return self._result(time.monotonic() - begun_s, trouble)

    def _search(self) -> None:
        self._looked_at = 0
        with Asker(self._bus, self._plan.timeout_s, self._stop) as asker:
            try:
                for place, unit in enumerate(self._plan.units):
                    if self._must_end(asker):
                        break
                    to_ask = len(self._plan.units) - place
                    self._tell(f"asking unit {unit}", to_ask=to_ask, to_time=len(self._answering))
                    if self._answers(asker, unit):
                        self._answering.append(unit)
                self._hear_the_last(asker)
            finally:
                self._searched = asker.verdicts()

    def _must_end(self, asker: Asker) -> bool:
        """Return whether nobody may be asked any more: stopped, or another master speaks."""
        if self._plan.ends_at_another_master:
            self._foreign_requests += sum(
                len(verdict.foreign) for verdict in asker.verdicts(self._looked_at)[:-1]
            )
            self._looked_at = max(0, asker.requests - 1)
        return self._stop.is_set() or self.another_master

    @property
    def another_master(self) -> bool:
        """Whether another master was heard, and that ends all asking."""
        return self._foreign_requests >= LEAST_FOREIGN

    def _answers(self, asker: Asker, unit: int) -> bool:
        since = asker.requests
        for read in (FIRST, *AGAIN):
            asker.ask(unit, read)
            ours = [verdict for verdict in asker.verdicts(since) if verdict.unit == unit]
            if any(verdict.is_from_drive for verdict in ours):
                self._leave_in_peace()
                return True
            is_damaged = any(verdict.outcome is Outcome.DAMAGED for verdict in ours)
            if self._stop.is_set() or not (is_damaged or self._plan.is_thorough):
                return False
        return False

    def _hear_the_last(self, asker: Asker) -> None:
        """Ask the last unit once more if it was silent: its late answer would come in nobody's turn."""
        verdicts = asker.verdicts(max(0, asker.requests - 1))
        is_open = bool(verdicts) and verdicts[0].is_silent and self._bus.kind != "tcp"
        if is_open and not self._stop.is_set():
            asker.ask(verdicts[0].unit, AGAIN[-1])

    def _leave_in_peace(self) -> None:
        """Wait for a second drive of the same address, whose answer our next request would cross."""
        if self._bus.kind != "tcp":
            self._stop.wait(self._plan.timeout_s)

    def _measure(self) -> None:
        late = whose_answers(self._searched, self._plan.timeout_s).late()
        if self._stop.is_set() or self.another_master or not (self._answering or late):
            return
        timeout_s = max([self._plan.timeout_s, *(ENOUGH * late_s for late_s in late.values())])
        self._looked_at = 0
        with Asker(self._bus, timeout_s, self._stop) as asker:
            try:
                units = sorted({*self._answering, *late})
                for place, unit in enumerate(units):
                    if self._must_end(asker):
                        break
                    self._tell(f"timing unit {unit}", to_ask=0, to_time=len(units) - place)
                    self._measure_unit(asker, unit)
            finally:
                self._measured = asker.verdicts()

    def _measure_unit(self, asker: Asker, unit: int) -> None:
        self._identifications[unit] = asker.identify(unit)
        giving = itertools.islice(self._giving(asker, unit), PLACES_COMPARED)
        longest = max((self._longest(asker, unit, read) for read in giving), key=_count, default=None)
        if longest is not None:
            self._reads[unit] = longest
        for read in self._timed_reads(unit, longest):
            self._gives(asker, unit, read)

    def _timed_reads(self, unit: int, longest: Read | None) -> Iterator[Read]:
        """Yield long reads, and a short one by every other: short ones were answered in the search too."""
        usual = FIRST if longest is None else (longest[0], longest[1], 1)
        short = self._spoilt.get(unit, usual)
        for place in range(self._plan.rounds):
            if longest in (None, short) or place % 2 == 0:
                yield short
            if longest not in (None, short):
                yield longest

    def _giving(self, asker: Asker, unit: int) -> Iterator[Read]:
        """Yield the reads that give data; a table at which the unit is silent is asked for no more."""
        silent: set[str] = set()
        for read in PLACES:
            if read[0] not in silent:
                gives = self._gives(asker, unit, read)
                if gives:
                    yield read
                elif gives is None:
                    silent.add(read[0])

    def _gives(self, asker: Asker, unit: int, read: Read) -> bool | None:
        """Ask who is known to answer, once more if nothing sound came; return whether data came.

        ``None`` when nothing came at all, or the survey is stopped. A read whose answer was spoilt each time
        is remembered: two drives of one address do that where they say different things.
        """
        is_spoilt = True
        for _ in range(TRIES):
            since = asker.requests
            if self._stop.is_set():
                return None
            if asker.ask(unit, read):
                return True
            verdicts = asker.verdicts(since)
            if any(verdict.is_from_drive for verdict in verdicts):
                return False
            is_spoilt &= any(verdict.outcome is Outcome.DAMAGED for verdict in verdicts)
            self._stop.wait(self._plan.settling_s)
        if not is_spoilt or self._bus.kind == "tcp":
            return None
        self._spoilt.setdefault(unit, read)
        return False

    def _longest(self, asker: Asker, unit: int, short: Read) -> Read:
        table, address, _ = short
        longer: list[Read] = [(table, address, count) for count in LONG_COUNTS]
        given = list(itertools.takewhile(lambda read: self._gives(asker, unit, read), longer))
        return given[-1] if given else short

    def _tell(self, words: str, *, to_ask: int, to_time: int) -> None:
        left_s = self._plan.longest_s(self._bus, to_ask) + self._plan.usual_timing_s(self._bus, to_time)
        at = f" at {self._setting.words}" if self._setting else ""
        self._news(
            Progress(words=f"{words}{at}", units_found=len(self._answering), left_s=left_s + self._later_s)
        )

    def _result(self, seconds: float, link_trouble: str) -> SettingSurvey:
        verdicts = [*self._searched, *self._measured]
        words = self._setting.words if self._setting else ""
        counts = counts_of(verdicts, setting=words, timeout_s=self._plan.timeout_s)
        found = tuple(self._found(unit, dict(counts.late).get(unit)) for unit in counts.answering)
        return SettingSurvey(
            setting=self._setting,
            units_asked=counts.units_asked,
            units_planned=len(self._plan.units),
            seconds=seconds,
            is_complete=not link_trouble and not self._stop.is_set() and not self.another_master,
            found=found,
            garbled=counts.garbled,
            troubles=troubles_of(counts),
            timing=recommended_timing(found),
            link_trouble=link_trouble,
        )

    def _found(self, unit: int, late_s: float | None) -> UnitFound:
        return unit_found(
            [*self._searched, *self._measured],
            unit,
            identification=self._identifications.get(unit, {}),
            read=self._reads.get(unit),
            late_s=late_s,
        )


def _count(read: Read) -> int:
    return read[2]
