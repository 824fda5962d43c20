"""How often the right registers come first, and whether anything wrong was called sure.

``python -m tests.bench_match [TABLES [FIRST_SEED]]``: 200 random tables, sampled in several ways.
Right means that the decoded value is that of the finest register over the whole range (``panels.is_right``);
a coarser copy shows the quantity in larger steps.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence

from collector.matching import Answer, answers
from simulator.drives import RandomMap, random_drive_map
from tests.collector.matching.panels import DUTIES, any_duties, is_right, samples_of, shows_it

Duties = Callable[[int], Sequence[tuple[float, float]]]

ROWS: dict[str, tuple[Duties, float]] = {
    "3 samples, duty moved at the panel": (lambda seed: DUTIES, 0.0),
    "3 samples, any duties": (lambda seed: any_duties(seed, 3), 0.0),
    "3 samples, speed alone moved": (lambda seed: ((1.0, 1.0), (0.9, 1.0), (0.75, 1.0)), 0.0),
    "2 samples, any duties": (lambda seed: any_duties(seed, 2), 0.0),
    "1 sample": (lambda seed: any_duties(seed, 1), 0.0),
    "3 samples, values stray by 0.2 %": (lambda seed: any_duties(seed, 3), 0.002),
    "5 samples, values stray by 0.2 %": (lambda seed: any_duties(seed, 5), 0.002),
    "5 samples, values stray by 1 %": (lambda seed: any_duties(seed, 5), 0.01),
}


def main(tables: int = 200, first: int = 0) -> None:
    for words, (duties, unrest) in ROWS.items():
        begun = time.process_time()
        counted = Counter(
            outcome
            for seed in range(first, first + tables)
            for outcome in _outcomes(random_drive_map(seed), duties(seed), unrest, seed)
        )
        seconds = (time.process_time() - begun) / tables
        print(_row(words, counted, tables, seconds), flush=True)


def _outcomes(
    drive: RandomMap, duties: Sequence[tuple[float, float]], unrest: float, seed: int
) -> list[tuple[str, str]]:
    found = answers(samples_of(drive, duties, unrest, seed))
    judged = [(_said(answer), _verdict(drive, answer)) for answer in found]
    whole = "right" if all(verdict == "right" for _, verdict in judged) else "not"
    return [("table", whole), *judged]


def _said(answer: Answer) -> str:
    return answer.sureness.name.lower()


def _verdict(drive: RandomMap, answer: Answer) -> str:
    if answer.chosen is None:
        return "wrong"
    if is_right(drive, answer.quantity, answer.chosen):
        return "right"
    return "a coarser copy" if shows_it(drive, answer.quantity, answer.chosen) else "wrong"


def _row(words: str, counted: Counter[tuple[str, str]], tables: int, seconds: float) -> str:
    said = "; ".join(
        f"{level}: {counted[level, 'right']} right, {counted[level, 'a coarser copy']} a coarser copy, "
        f"{counted[level, 'wrong']} wrong"
        for level in ("sure", "likely", "open", "none")
    )
    right = counted["table", "right"]
    whole = f"all four right in {right} of {tables} ({100 * right / tables:.1f} %)"
    return f"{words}: {whole}\n    {said}; {seconds:.2f} s"


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
