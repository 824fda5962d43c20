"""How often the product says rightly whether a recorded repair worked, and its intervals hold the truth.

Run ``python -m tests.bench_repairs`` (eight pumps of each of families A, B and C for each work, done and not
done; on families that thresholds of detection were tuned on). The work is recorded 22 days after the fault
began (air: 3 days); verdicts are asked 1, 3, 7, 14 and 27 days after it. A pump whose fault no finding told
by then is counted as such: nothing stood that the work could answer.
"""

from __future__ import annotations

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections import Counter
from collections.abc import Sequence

from api.analytics.repair import Quantity
from tests.fleet.intervals import share
from tests.fleet.repairs import WORKS, Judged, Trial, judged

AFTER_DAYS = (1.0, 3.0, 7.0, 14.0, 27.0)
FAMILIES = ("A", "B", "C")
RIGHT = {True: "worked", False: "did_not_work"}


def main() -> None:
    """Run the trials and print a row for each work and day."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pumps", type=int, default=8, help="pumps of each family")
    parser.add_argument("--first-seed", type=int, default=100)
    parser.add_argument("--works", nargs="+", default=list(WORKS), choices=list(WORKS))
    asked = parser.parse_args()
    seeds = range(asked.first_seed, asked.first_seed + asked.pumps)
    for work in asked.works:
        for is_healed in (True, False):
            trials = [
                Trial(work=work, family=family, seed=seed, is_healed=is_healed)
                for family in FAMILIES
                for seed in seeds
            ]
            _print(work, is_healed, [each for trial in trials for each in judged(trial, AFTER_DAYS)])


def _print(work: str, is_healed: bool, found: Sequence[Judged]) -> None:
    print(f"{work}, {'done' if is_healed else 'recorded, nothing done'}")
    for days in AFTER_DAYS:
        then = [each for each in found if each.after_days == days]
        said = Counter(verdict for each in then for verdict in each.verdicts)
        told = said.total() - said["too_early"]
        right = share(said[RIGHT[is_healed]], told) if told else None
        words = (
            f"{right.value:.3f} ({right.low:.3f}-{right.high:.3f}) of {told} told" if right else "none told"
        )
        untold = sum(not each.verdicts for each in then)
        print(f"  {days:4.0f} d: right {words}; {dict(said)}; no finding stood: {untold}; {_held(then)}")


def _held(found: Sequence[Judged]) -> str:
    """Return how often the interval holds the truth: no change where nothing was done, else the own curve."""
    counts = []
    for quantity in (Quantity.HEAD, Quantity.POWER, Quantity.ENERGY):
        measured = [
            (each, each.effect.measured[quantity]) for each in found if quantity in each.effect.measured
        ]
        held = sum(
            m.since_low <= 0 <= m.since_high if j.trial.is_healed else m.change_low <= 0 <= m.change_high
            for j, m in measured
        )
        counts.append(f"{quantity} {held}/{len(measured)}")
    return "intervals hold " + ", ".join(counts)


if __name__ == "__main__":
    main()
