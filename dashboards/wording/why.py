"""Why a week's energy per volume changed, and what a drive's counters say, in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from dashboards.counter_views import CounterNotice, Counters
from dashboards.display import amount, listed, number, percent, signed_percent
from dashboards.views import EnergyWeek, UnitSystem
from dashboards.why_views import Compared, NotCompared, WhyPart

TOLD: Final = 0.005
"""A part below this share of the energy per volume [-] is no reason for anything (our own choice)."""
OF_THE_LARGEST: Final = 0.15
"""A part below this share of the largest part [-] is left to the picture (our own choice)."""
CONTRADICTS: Final = 0.05
"""Integrated energy and counter further apart than this [-] contradict each other (our own choice)."""

AGAINST: Final = {
    "before": "Against the week before",
    "last_year": "Against the same week last year",
    "baseline": "Against its baseline",
}
PERIODS: Final = {
    "before": "the week before",
    "last_year": "the same week last year",
    "baseline": "the baseline",
}
PARTS: Final = {
    "head": "Head",
    "pump": "The pump itself",
    "place": "Place on its curve",
    "density": "Density of the fluid",
    "efficiency": "Pump and place together",
    "mix": "Which pumps moved it",
    "rest": "Hours without a head",
}
WHAT_PARTS_ARE: Final = {
    "head": "The water was lifted higher or less high: what the system or its setpoint asked for.",
    "pump": "Power taken against that of the pump's own curve for the same flow and head: wear and drag.",
    "place": "Control and load put the pump at another place on its own curve.",
    "density": "A heavier fluid takes more power for the same flow and head; by its measured temperature.",
    "efficiency": "Wire to water, where the pump can't be told from its place on the curve.",
    "mix": "Of several pumps, those with dearer or cheaper water moved more of it.",
    "rest": "Time in which head was not known, and pumps that took power and moved no water.",
}
NOT_TOLD: Final = {
    "no_curve": "there is no own curve yet",
    "new_baseline": "work with a new baseline lies between",
    "outside_region": "less than half of the energy was taken where the own curve was learned",
}
_NO_COMPARISON: Final = {
    "no_readings": "There are no readings of {period}.",
    "no_water": "Without both flow and head in the two there is nothing to hold against {period}.",
    "impossible": "By the readings of one of the two the water takes more power than is drawn: a unit or a "
    "signal is wrong, and nothing can be held against {period}.",
    "no_baseline": "There is no baseline yet: the own curve is learned in the first weeks of running.",
    "no_whole_week": "No pump has both this week and {period} whole.",
}
_FALLS: Final = {
    "roll_over": "rolled over",
    "set_back": "was set back",
    "other_drive": "went on from another value, as after a drive was replaced",
}
_COUNTERS: Final = {"energy_kwh": "energy counter", "run_time_h": "run-hour counter"}


def why_sentence(found: Compared | NotCompared, units: UnitSystem) -> str:
    """Return in one sentence how much a week's energy per volume changed, and why."""
    if isinstance(found, NotCompared):
        return _NO_COMPARISON[found.because].format(period=PERIODS[found.against])
    reasons = list(_reasons(found))
    return f"{_change(found, units)}: {'; '.join(reasons)}." if reasons else f"{_change(found, units)}."


def _change(found: Compared, units: UnitSystem) -> str:
    change = found.now_kwh_per_m3 - found.before_kwh_per_m3
    share = change / found.before_kwh_per_m3
    if abs(share) < TOLD:
        return f"As much energy per volume as then ({signed_percent(share)})"
    size = amount(abs(change), "kwh_per_m3", units)
    return f"{size} {'more' if change > 0 else 'less'} ({signed_percent(share)})"


def _reasons(found: Compared) -> Iterator[str]:
    """Yield the parts that are reasons, the largest first; and always what the pump itself did."""
    largest = max((abs(part.kwh_per_m3) for part in found.parts), default=0.0)
    least = max(OF_THE_LARGEST * largest, TOLD * found.before_kwh_per_m3)
    for part in sorted(found.parts, key=lambda each: -abs(each.kwh_per_m3)):
        share = part.kwh_per_m3 / found.before_kwh_per_m3
        if abs(part.kwh_per_m3) >= least:
            yield _reason(part, share)
        elif part.part == "pump":
            yield _unchanged(found) if abs(share) < TOLD else _reason(part, share)


def _unchanged(found: Compared) -> str:
    who = "the pump itself" if found.pumps is None else "the pumps themselves"
    return f"{who} took as much as then for the same flow and head"


def _reason(part: WhyPart, share: float) -> str:
    """Return a part as a reason: by its own factor where it has one, else by what it adds."""
    added = signed_percent(share)
    if part.ratio is None:
        return f"{PARTS[part.part].lower()} {added}"
    by = part.ratio - 1
    size = percent(abs(by), 1)
    said = {
        # Less head may also be what a pump that has lost some still gives, so of that no cause is said.
        "head": f"the system asked for {size} more head" if by > 0 else f"{size} less head was held",
        "pump": f"the pump itself took {size} {'more' if by > 0 else 'less'} for the same flow and head",
        "place": f"it worked at a {'better' if by > 0 else 'worse'} place on its curve ({added})",
        "density": f"the fluid was {size} {'heavier' if by > 0 else 'lighter'}",
        "efficiency": f"wire to water was {size} {'better' if by > 0 else 'worse'}, by the pump or its place "
        "on the curve",
    }
    return said[part.part]


def why_notes(found: Compared | NotCompared, week: EnergyWeek) -> tuple[str, ...]:
    """Return what limits a comparison, a sentence each."""
    return () if isinstance(found, NotCompared) else tuple(_notes(found, week))


def _notes(found: Compared, week: EnergyWeek) -> Iterator[str]:
    period = PERIODS[found.against]
    if not week.has_ended:
        yield "This week is not over; what is seen of it is compared."
    elif week.share_with_readings < 1 - TOLD:
        share = percent(week.share_with_readings)
        yield f"This week has readings for {share} of its time; nothing is filled in."
    if found.is_part_before:
        yield f"Of {period} only {percent(found.share_before)} was read; its days may be other ones."
    if found.not_told:
        yield f"The pump can't be told from its place on the curve: {NOT_TOLD[found.not_told]}."
    elif found.pumps is None and found.judged_share < 1 - TOLD:
        share = percent(found.judged_share)
        yield f"The pump was judged over {share} of the energy, where its curve was learned."


def counter_notice(notice: CounterNotice) -> str:
    """Return that a counter did not just go on.

    >>> counter_notice(CounterNotice(counter="energy_kwh", time_utc_ms=0, what="set_back"))
    "the drive's energy counter was set back"
    """
    return f"the drive's {_COUNTERS[notice.counter]} {_FALLS[notice.what]}"


def counter_sentence(week: EnergyWeek) -> str:
    """Return what the drive's own energy counter says of a week, and which figure is the better one."""
    counters = week.counters
    if counters is None or counters.energy_kwh is None:
        return ""
    said = [f"The drive's own counter rose by {amount(counters.energy_kwh, 'energy_kwh', 'SI')}"]
    if counters.across_gaps_kwh > 0:
        said.append(f"{amount(counters.across_gaps_kwh, 'energy_kwh', 'SI')} of it without readings")
    notices = [f"{counter_notice(each)[0].upper()}{counter_notice(each)[1:]}." for each in counters.notices]
    return " ".join([f"{', '.join(said)}.", _agreement(counters), _better(counters), *notices]).replace(
        "  ", " "
    )


def _agreement(counters: Counters) -> str:
    if counters.difference is None:
        return "They can't be held against each other: no whole hour is known to both."
    over = f"over {number(counters.hours_compared, 5, 0)} whole hours that both know"
    if counters.is_within_resolution:
        return f"Both agree {over}, as well as the counter's steps tell."
    return f"The energy integrated from power is {signed_percent(counters.difference)} against it {over}."


def _better(counters: Counters) -> str:
    """Return which figure to pay by: the counter knows of gaps, and of another drive it knows nothing."""
    if any(item.what == "other_drive" and item.counter == "energy_kwh" for item in counters.notices):
        return "Across the change of drive only the integrated energy is known."
    if abs(counters.difference or 0.0) > CONTRADICTS and not counters.is_within_resolution:
        return "Such a difference means that the counter or the power is read by a wrong factor."
    if counters.across_gaps_kwh > 0:
        return "Of the whole week's energy the counter is the better figure."
    return ""


def periods_words(found: Compared | NotCompared) -> str:
    """Return the heading of a comparison."""
    return AGAINST[found.against]


def parts_listed(found: Compared) -> str:
    """Return the names of the parts, for one who can't see the picture."""
    return listed(PARTS[part.part].lower() for part in found.parts)
