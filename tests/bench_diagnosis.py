"""How well slow faults are told, on families of pumps that no threshold was ever tuned on.

Run ``python -m tests.bench_diagnosis`` (all rows, about 1000 pumps); ``--pumps 20`` for a quick look,
``--families`` for those seen before. Readings every ten minutes; what is said is
looked at every six hours after a fault (ramps: each day), twice a day of a pump that is to be left alone; the
product looks at each closed hour. A delay ends with the look. Truth and detector share the affinity laws and
the idea of a drift that wanders about a mean; curve form, departures and noise do not. The oracle is a CUSUM
that is told the size of the change and the true noise (``tests/fleet/oracle.py``). Both are held against each
other at equal looks, delays counted in whole looks: every six hours, and at the ends of days.
The thirteen classes, their sizes and what counts as an answer stand in ``tests/fleet/classes.py``.
"""

from __future__ import annotations

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor

import numpy as np

from api.analytics.curve import BASELINE_DAYS
from api.analytics.finding import Kind
from simulator.plant.spec import FaultKind
from tests.fleet.cases import LOOK_H, Case, Outcome, run
from tests.fleet.classes import CLASSES, UNDECIDED, Answer, Condition, answer
from tests.fleet.families import HELD_OUT, SEEN, TUNED
from tests.fleet.intervals import rate, share

SYSTEM_CHANGES: tuple[tuple[FaultKind, float], ...] = (
    ("system_opened", 0.4),
    ("plugging", 0.8),
    ("setpoint_change", 0.15),
    ("setpoint_change", -0.15),
    ("glycol_filled", 0.3),
)
DAYS_A_YEAR = 365.25
FLEETS = {"held-out": HELD_OUT, "seen": SEEN, "tuned": TUNED}
ROWS = ("wear", "classes", "silent")
Fleet = Callable[..., list[Outcome]]


def cases(families: Sequence[str], pumps: int, seed: int, **what: object) -> list[Case]:
    """Return as many cases, the families in turn."""
    return [
        Case(family=families[place % len(families)], seed=seed + place, **what)  # type: ignore[arg-type]
        for place in range(pumps)
    ]


def steps(name: str, found: Sequence[Outcome], within_days: int = 30) -> str:
    """Return the row of a step fault: delays and share found within thirty days."""
    delays = np.array([np.inf if o.raised_after_d is None else o.raised_after_d for o in found])
    median, late = (np.quantile(delays, part, method="inverted_cdf") for part in (0.5, 0.9))
    seen = share(int((delays <= within_days).sum()), len(found))
    return (
        f"{name:<44} median {median:.1f} d, p90 {late:.1f} d, found {seen.value:.1%} "
        f"({seen.low:.1%} to {seen.high:.1%}), {len(found)} pumps"
    )


def against_oracle(name: str, found: Sequence[Outcome], within_days: float = 30.0) -> Iterator[str]:
    """Return the rows of delays against the oracle's; one not found within thirty days counts as thirty."""
    for words, looks_a_day, ours, oracles in (
        ("looking every 6 h", 24 // LOOK_H[True], "raised_after_d", "oracle_often_d"),
        ("looking once a day", 1, "raised_at_day_end_d", "oracle_d"),
    ):
        delays = [getattr(outcome, ours) for outcome in found]
        looks = [np.ceil(np.inf if d is None else d * looks_a_day) / looks_a_day for d in delays]
        took = float(np.mean(np.minimum(looks, within_days)))
        could = float(np.mean([d for outcome in found if (d := getattr(outcome, oracles)) is not None]))
        title = f"  {name}: to the oracle, {words}"
        yield f"{title:<56} mean {took:.2f} d, oracle {could:.2f} d, ratio {took / could:.2f}"


def class_rows(given: Sequence[Answer]) -> Iterator[str]:
    """Return the rows of the thirteen classes: right among answers, share answered, and each class."""
    decided = [one for one in given if one.said != UNDECIDED]
    right = share(sum(one.said == one.condition.truth for one in decided), len(decided))
    answered = share(len(decided), len(given))
    for name, part in (("right among answers", right), ("answered", answered)):
        title = f"thirteen classes: {name}"
        yield f"{title:<44} {part.value:.1%} ({part.low:.1%} to {part.high:.1%})"
    for truth in CLASSES:
        said = Counter(one.said for one in given if one.condition.truth == truth)
        yield f"  {truth:<42} " + ", ".join(f"{name} {count}" for name, count in said.most_common())


def ramps(name: str, found: Sequence[Outcome]) -> str:
    """Return the row of slow ramps: share raised before two percent was lost."""
    a_day = found[0].case.severity / found[0].case.ramp_days
    lost = np.array([np.inf if o.raised_after_d is None else o.raised_after_d * a_day for o in found])
    soon = share(int((lost < 0.02).sum()), len(found))
    return f"{name:<52} before 2 %: {soon.value:.1%} ({soon.low:.1%} to {soon.high:.1%}), {len(found)} pumps"


def silence(found: Sequence[Outcome]) -> Iterator[str]:
    """Return the rows of healthy pumps: false alarms a pump-year, with the one-sided 95 % bound."""
    # Of the days that the curve was learned from it can hardly be wrong.
    years = sum(max(outcome.judged_days - BASELINE_DAYS, 0) for outcome in found) / DAYS_A_YEAR
    for name, events in (
        ("false wear alarms a pump-year", sum(outcome.wear_alarms for outcome in found)),
        ("false slow alarms of any kind a pump-year", sum(outcome.alarms for outcome in found)),
        ("false rises of resistance a pump-year", sum(_count(one, Kind.RESISTANCE_RISE) for one in found)),
        ("false changes of the system a pump-year", sum(_count(one, Kind.SYSTEM_CHANGE) for one in found)),
    ):
        a_year = rate(events, years)
        yield f"{name:<44} {a_year.value:.4f}, 95 % bound {a_year.high:.4f}, {years:.0f} years"
    shares = np.array([outcome.judged_share for outcome in found])
    tenth = np.quantile(shares, 0.1)
    yield f"{'running hours judged after a year':<44} mean {shares.mean():.1%}, p10 {tenth:.1%}"


def _count(outcome: Outcome, kind: Kind) -> int:
    return sum(finding.kind is kind for finding in outcome.findings)


def none_of(name: str, found: Sequence[Outcome]) -> str:
    """Return the row of pumps that must not be accused."""
    accused = sum(bool(outcome.alarms) for outcome in found)
    wear = sum(bool(outcome.wear_alarms) for outcome in found)
    most = share(accused, len(found)).high
    return f"{name:<44} {accused} of {len(found)} (up to {most:.1%}), of them wear {wear}"


def wear_rows(fleet: Fleet, pumps: int) -> Iterator[str]:
    """Return the rows of worn pumps: steps at the duty, one at the best point, ramps."""
    for fault in ("ring_leakage", "impeller_wear"):
        for number, loss in enumerate((0.02, 0.03, 0.05)):
            what = {"fault": fault, "severity": loss, "at_duty": True, "days": 90}
            found = fleet(pumps, 10_000 + 1000 * number, **what)
            yield steps(f"{loss:.0%} of head, {fault}", found)
            yield from against_oracle(fault, found)
    for a_year in (0.02, 0.05):
        what = {"ramp_days": 365.0, "severity": a_year, "at_duty": True, "days": 423}
        leaks = fleet(pumps // 2, 20_000, fault="ring_leakage", **what)
        eroded = fleet(pumps - pumps // 2, 20_500, fault="impeller_wear", **what)
        yield ramps(f"ramp of {a_year:.0%} a year, half leakage, half erosion", leaks + eroded)
    at_best = fleet(pumps, 11_000, days=90, fault="ring_leakage", severity=0.03)
    yield steps("3 % of head at the best point, ring_leakage", at_best)


def condition_rows(pool: Executor, families: Sequence[str], pumps: int) -> Iterator[str]:
    """Return the rows of the thirteen classes."""
    asked = [
        Condition(family=families[place % len(families)], seed=60_000 + place, truth=truth)
        for truth in CLASSES
        for place in range(pumps)
    ]
    yield from class_rows(list(pool.map(answer, asked, chunksize=4)))


def silent_rows(fleet: Fleet, pumps: int, estimated: int, healthy: int) -> Iterator[str]:
    """Return the rows of pumps that must be left alone."""
    for number, (change, size) in enumerate(SYSTEM_CHANGES):
        moved = fleet(pumps, 30_000 + 1000 * number, days=120, fault=change, severity=size)
        yield none_of(f"accused after {change} {size:+.0%}", moved)
    blind = fleet(estimated, 40_000, days=90, fault="impeller_wear", severity=0.1, estimated=True)
    yield none_of("accused with estimated flow and head, 10 %", blind)
    yield from silence(fleet(healthy, 50_000, days=393))


def main() -> None:
    """Run the fleets and print every row."""
    words = argparse.ArgumentParser(description="slow faults on families never tuned on")
    words.add_argument("--pumps", type=int, default=60, help="pumps a fault cell")
    words.add_argument("--healthy", type=int, default=300, help="healthy pumps, a year and a baseline each")
    words.add_argument("--estimated", type=int, default=500, help="worn pumps with estimated flow and head")
    words.add_argument("--families", choices=FLEETS, default="held-out", help="which families")
    words.add_argument("--rows", nargs="+", choices=ROWS, default=ROWS, help="which rows")
    words.add_argument("--workers", type=int, default=os.cpu_count(), help="processes")
    chosen = words.parse_args()
    families = [family.name for family in FLEETS[chosen.families]]
    print(f"families {', '.join(families)}", flush=True)
    with ProcessPoolExecutor(chosen.workers) as pool:

        def fleet(pumps: int, seed: int, **what: object) -> list[Outcome]:
            return list(pool.map(run, cases(families, pumps, seed, **what), chunksize=4))

        rows = {
            "wear": wear_rows(fleet, chosen.pumps),
            "classes": condition_rows(pool, families, chosen.pumps),
            "silent": silent_rows(fleet, chosen.pumps, chosen.estimated, chosen.healthy),
        }
        for name in chosen.rows:
            for row in rows[name]:
                print(row, flush=True)


if __name__ == "__main__":
    main()
