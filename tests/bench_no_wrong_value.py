"""The long trial on three bad lines: how many stored values are not what the drive held.

``python -m tests.bench_no_wrong_value [SCANS]``: ten thousand scans of each line unless told otherwise, about
two minutes on two quiet cores. The lines, the drives and the comparison are those of
``tests/end_to_end/test_no_wrong_value.py``. Limit: none; each kind of disturbance must have come 50 times.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.end_to_end.bad_lines import try_bad_lines

SCANS = 10_000
AT_LEAST_IN_SCANS = 50 / 10_000


def main(scans: int = SCANS) -> int:
    """Try once; 1 when a wrong value was stored, or a kind of disturbance came too seldom to say so."""
    with tempfile.TemporaryDirectory() as folder:
        trial = try_bad_lines(Path(folder), scans)
    rare = trial.rare_kinds(int(scans * AT_LEAST_IN_SCANS))
    print(trial.in_words())
    print(*trial.stored.wrong[:20], sep="\n", end="")
    if rare:
        print(f"too seldom: {rare}")
    return int(bool(trial.stored.wrong or rare))


if __name__ == "__main__":
    raise SystemExit(main(*map(int, sys.argv[1:])))
