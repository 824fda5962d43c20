"""How close a survey of all addresses comes to the time-outs that nobody can avoid.

    python tests/bench_survey.py            (1 to 247 at 0.5 s, one drive in sixty: about two minutes)
    python tests/bench_survey.py --timeout 0.1

Unavoidable is, for each address where nobody is, the request's eight characters, the time-out and the silence
of t3.5 that ends it. All else counts against us: the asking and timing of the drives that are found, the
time-out for which each is left in peace, the machine. Where that goes is told as well: how much longer than
unavoidable a silent address takes (median), and how long the drives that were found. The line is simulated
behind a real pseudo-terminal, in a process of its own. Limit: 1.10. Nothing but reads may have been sent:
each request is looked at.
"""

from __future__ import annotations

import argparse
import itertools
import statistics
import sys
import threading
import time
from multiprocessing import Event, Pipe, Process
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from collector.bus.line_setting import LineSetting
from collector.site import Bus
from collector.survey import SurveyPlan, survey
from simulator.drives import MAPS, Drive
from simulator.lines import SharedLine, running, uart
from simulator.lines.terminal_end import TerminalEnd

LIMIT = 1.10
SETTING = LineSetting(19_200, "E", 1)
UNITS = (3, 64, 127, 190)
READS = {3, 4, 43}


def serve(pipe: Any, ended: Any) -> None:  # noqa: ANN401 - the library's own types are private
    """Run the line; tell its port, and in the end which function codes came."""
    drives = [Drive(unit, MAPS["A"]) for unit in UNITS]
    for drive in drives:
        drive.show({"speed_rpm": 2400.0, "power_w": 1180.0, "flow_m3h": 32.2, "head_m": 8.4})
    line, end = SharedLine(uart.LineSetting(SETTING.baud, "E", 1), drives, keeps=10_000), TerminalEnd()
    with running(line, end):
        pipe.send(end.port)
        ended.wait()
    pipe.send({exchange.request.data[1] for exchange in line.exchanges})


def main() -> int:
    """Measure once; 1 when the limit is broken."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--timeout", type=float, default=0.5)
    plan = SurveyPlan(units=tuple(range(1, 248)), timeout_s=parser.parse_args().timeout)
    (ours, theirs), ended = Pipe(), Event()
    process = Process(target=serve, args=(theirs, ended), daemon=True)
    process.start()
    bus = Bus(name="bench", kind="serial", port=ours.recv())
    told: list[tuple[str, float]] = []
    begun_s = time.perf_counter()
    (seen,) = survey(
        bus, [SETTING], plan, threading.Event(),
        lambda news: told.append((news.words, time.perf_counter())),
    )  # fmt: skip
    ended_s = time.perf_counter()
    took_s = ended_s - begun_s
    ended.set()
    functions = ours.recv()
    process.join()
    silent = len(plan.units) - len(UNITS)
    a_silent_one_s = plan.timeout_s + 8 * SETTING.character_s + SETTING.silence_s
    unavoidable_s = silent * a_silent_one_s
    ratio = took_s / unavoidable_s
    found = tuple(unit.unit for unit in seen.found)
    print(f"{took_s:.1f} s for {unavoidable_s:.1f} s of time-outs: {ratio:.3f} (limit {LIMIT:.2f})")
    turns_s = [after - at for (_, at), (_, after) in itertools.pairwise(told)]
    beyond_ms = 1000 * (statistics.median(turns_s[: len(plan.units) - 1]) - a_silent_one_s)
    timing_s = ended_s - next(at for words, at in told if words.startswith("timing"))
    print(f"beyond that: {beyond_ms:.1f} ms a silent address; {timing_s:.1f} s to time {len(UNITS)} drives")
    print(f"found {found} of {UNITS}; function codes sent: {sorted(functions)}")
    return int(ratio > LIMIT or found != UNITS or not functions <= READS)


if __name__ == "__main__":
    raise SystemExit(main())
