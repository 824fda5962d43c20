"""Why a pump gave no reading on a line that is only listened to, in a sentence that says what to do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field

from collector.bus.line_setting import LineSetting
from collector.listening.exchanges import Exchange, Outcome
from collector.reading import FailureKind

TABLES = {1: "coils", 2: "discrete inputs", 3: "holding registers", 4: "input registers"}


@dataclass(slots=True)
class HeardOfUnit:
    """What was heard of one unit since its last reading."""

    outcomes: Counter[Outcome] = field(default_factory=Counter)
    uncertain: int = 0
    unmapped: set[tuple[int, int, int]] = field(default_factory=set)

    def take(self, exchange: Exchange, *, is_certain: bool, is_mapped: bool) -> None:
        """Count an exchange; a read that touches nothing of the register map is remembered by itself."""
        if not is_mapped:
            if exchange.request.function in TABLES:
                self.unmapped.add(exchange.request.read)
            return
        self.outcomes[exchange.outcome] += 1
        self.uncertain += exchange.outcome is Outcome.ANSWERED and not is_certain


def why_no_reading(
    place: str, heard: HeardOfUnit, units_asked: Collection[int], *, is_silent: bool, setting: LineSetting
) -> tuple[FailureKind, str]:
    """Return the kind of failure and its sentence."""
    outcomes = heard.outcomes
    if is_silent:
        return FailureKind.NO_REPLY, (
            f"{place}: the line is silent; is the master that polls it off, or are our wires off the line?"
        )
    if not units_asked:
        return FailureKind.DAMAGED, (
            f"{place}: bytes come but no good frame at {setting.words}; check the setting (owncurve listen "
            "finds it) and whether the two wires are swapped"
        )
    if heard.uncertain:
        return FailureKind.DAMAGED, (
            f"{place}: it answers, but nobody can say which request an answer belongs to: answers are "
            "late or damaged, or the other master reads several blocks of one length without a pause. Let it "
            "wait longer, or pause for late_reply_s (see this bus in the site file) between its rounds"
        )
    if outcomes[Outcome.EXCEPTION]:
        return FailureKind.REFUSED, f"{place}: it refuses what the other master asks; see its manual"
    if outcomes[Outcome.DAMAGED]:
        return FailureKind.DAMAGED, (
            f"{place}: its answers are damaged; check termination, the length of the line and its earth"
        )
    if outcomes[Outcome.NO_ANSWER]:
        return FailureKind.NO_REPLY, f"{place}: the other master asks it, but it does not answer; is it on?"
    if heard.unmapped:
        return FailureKind.NO_REPLY, (
            f"{place}: the other master reads {_reads(heard.unmapped)} of it, and its register map holds none"
        )
    asked = ", ".join(map(str, sorted(units_asked)))
    return FailureKind.NO_REPLY, f"{place}: the other master does not ask it; it asks {asked}"


def _reads(reads: Collection[tuple[int, int, int]]) -> str:
    shown = [
        f"{TABLES[function]} {address} to {address + count - 1}"
        for function, address, count in sorted(reads)[:3]
    ]
    return ", ".join(shown) + (" and others" if len(reads) > 3 else "")
