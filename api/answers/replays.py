"""The back-test as people and programs read it: what would have been said when, and what thresholds do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from api.analysis.past_doubts import past_doubts
from api.analysis.pump_pass import curve_of
from api.analysis.replay import Said, day_ends_utc_ms, replay
from api.analysis.write_result import FAST_KINDS
from api.analytics.backtest import BackTest, Outcome, back_test, outcomes
from api.analytics.finding import Finding
from api.answers.believed import believed
from api.answers.findings import card, finite, iso_utc
from api.answers.source import Source
from api.store.stored_finding import State, StoredFinding
from collector.site import Pump
from dashboards.moments import day_words
from dashboards.views import FindingCard

_KNOWN_LATER: Final = frozenset({"episodes", "longest_h"})
"""Evidence of a fast finding that only its further course gives."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """One pump's history as the engine would have told it; ``test`` is ``None`` where wear cannot be seen."""

    pump: str
    said: tuple[Said, ...]
    test: BackTest | None


def replayed(
    source: Source, pumps: Sequence[Pump], loss: float, progress: Callable[[int, int], None]
) -> list[Replayed]:
    """Return each pump's replay and back-test for a loss of ``loss`` [-] of head, in order.

    Fast states are told within minutes of their beginning, so that they are taken as they are stored.
    """
    found = []
    for done, pump in enumerate(pumps):
        progress(done, len(pumps))
        found.append(_replayed(source, pump, loss))
    progress(len(pumps), len(pumps))
    return found


def _replayed(source: Source, pump: Pump, loss: float) -> Replayed:
    facts = source.facts(pump)
    hours = source.api_store.hours(pump.name)
    doubts = past_doubts(source.store, source.api_store, facts, day_ends_utc_ms(hours))
    slow = replay(hours, facts, doubts) if len(hours) else []
    fast = [as_stored(item) for item in source.api_store.findings(pump.name) if _is_fast(item)]
    return Replayed(
        pump=pump.name,
        said=tuple(sorted([*slow, *fast], key=lambda said: said.raised_utc_ms)),
        test=back_test(hours, curve_of(source.api_store, facts), believed(source, pump), loss),
    )


def _is_fast(item: StoredFinding) -> bool:
    return item.finding.kind in FAST_KINDS and item.state is not State.WITHDRAWN


def as_stored(item: StoredFinding) -> Said:
    """Return a fast finding as it was first told: how often it came back was not known then."""
    newest = item.finding
    known = tuple(each for each in newest.evidence if each.name not in _KNOWN_LATER)
    # How long it lasts is its effect where that is in hours.
    effect = None if newest.effect_unit == "h" else newest.effect
    first = replace(newest, evidence=known, effect=effect, last_utc_ms=newest.first_utc_ms, active=True)
    return Said(finding=first, raised_utc_ms=newest.first_utc_ms, newest=newest)


def together(found: Sequence[Replayed]) -> list[Outcome]:
    """Return what each pair of limits does over all pumps in which wear can be seen."""
    return outcomes([each.test for each in found if each.test is not None])


def card_of(source: Source, finding: Finding) -> FindingCard:
    """Return what was said as a card, as it stood on that day."""
    state = State.ACTIVE if finding.active else State.RETURNED_TO_NORMAL
    facts = source.facts(source.site.pump(finding.pump))
    return card(StoredFinding(finding_id=0, finding=finding, state=state), facts)


def raised_words(source: Source, said: Said) -> str:
    """Return the day on which it was told; what is judged by day is told at the day's end."""
    return day_words(said.raised_utc_ms - 1, source.site.time_zone, source.clock.now_utc_ms())


def plain_replay(found: Sequence[Replayed], loss: float) -> dict[str, Any]:
    """Return the whole as programs read it."""
    return {
        "loss_pct": round(loss * 100, 6),
        "pumps": [_plain_pump(each) for each in found],
        "thresholds": [plain_outcome(each) for each in together(found)],
    }


def _plain_pump(each: Replayed) -> dict[str, Any]:
    test = each.test
    return {
        "pump": each.pump,
        "said": [_plain_said(said) for said in each.said],
        "can_be_judged": test is not None,
        "quiet_days": test.quiet_days if test else 0,
        "most_evidence_sd": test.most_evidence_sd if test else None,
        "look_days": test.look_days if test else 0,
        "set_notice_pct": test.present.effect * 100 if test else None,
        "set_evidence_sd": test.present.z if test else None,
        "thresholds": [plain_outcome(outcome) for outcome in outcomes([test])] if test else [],
    }


def _plain_said(said: Said) -> dict[str, Any]:
    finding = said.finding
    return {
        "kind": str(finding.kind),
        "raised_utc": iso_utc(said.raised_utc_ms),
        "first_utc": iso_utc(finding.first_utc_ms),
        "priority": str(finding.priority),
        "effect": finite(finding.effect),
        "effect_low": finite(finding.effect_low),
        "effect_high": finite(finding.effect_high),
        "effect_unit": finding.effect_unit,
        "causes": [{"names": list(cause.names), "weight": cause.weight} for cause in finding.causes],
        "newest_first_utc": iso_utc(said.newest.first_utc_ms),
        "newest_last_utc": iso_utc(said.newest.last_utc_ms),
        "newest_effect": finite(said.newest.effect),
    }


def plain_outcome(outcome: Outcome) -> dict[str, Any]:
    """Return what a pair of limits does as programs read it."""
    rate = outcome.false_alarms_a_year
    return {
        "notice_pct": round(outcome.limits.effect * 100, 6),
        "evidence_sd": outcome.limits.z,
        "false_alarms": outcome.false_alarms,
        "pump_years": outcome.pump_years,
        "false_alarms_a_pump_year": rate.value,
        "false_alarms_a_pump_year_low": rate.low,
        "false_alarms_a_pump_year_high": finite(rate.high),
        "trials": outcome.trials,
        "found": outcome.found,
        "median_days": outcome.median_days,
        "p90_days": outcome.p90_days,
    }
