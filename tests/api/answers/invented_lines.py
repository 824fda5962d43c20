"""A site of four invented lines, with two days of counts: sound, worse since noon, dead, heard."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from pathlib import Path

from api.answers.source import Source, open_source
from collector.clock import Clock
from collector.line_quarter import QUARTER_MS, REPLY_EDGES_S, LineQuarter, reply_class
from collector.reading import FailureKind, PollFailure, Reading

NOW_MS = 1_780_272_000_000 + 40 * 86_400_000 + 17 * 3_600_000
"""2026-07-11T17:00Z, a Saturday."""
NOON_MS = NOW_MS - 5 * 3_600_000
DEAD_FROM_MS = NOW_MS - 3 * 3_600_000
QUARTERS = 2 * 96
REQUESTS = 90
HOSTILE = "Lap <b>pool</b> & 7"

MAP = """
[map]
name = "circulator"
addresses = "zero-based"
[quantity]
speed_rpm = { table = "input", address = 1, type = "u16", unit = "rpm" }
"""
SITE = """
[site]
name = "Harbour <i>baths</i>"
time_zone = "Europe/Lisbon"

[[bus]]
name = "plant_room"
kind = "serial"
port = "/dev/serial/by-id/adapter"

[[bus]]
name = "filter_hall"
kind = "tcp"
host = "10.0.0.7"

[[bus]]
name = "roof"
kind = "rtu_over_tcp"
host = "10.0.0.8"
port = 4001

[[bus]]
name = "yard"
kind = "serial"
port = "/dev/ttyS1"
listen_only = true
"""
PUMPS: Mapping[str, Mapping[int, str]] = {
    "plant_room": {11: "Warm pool", 12: "Heating main", 13: HOSTILE},
    "filter_hall": {1: "Main pool", 2: "Diving pool"},
    "roof": {1: "Air handling", 2: "Backwash lift"},
    "yard": {5: "Fountain"},
}


def lines_source(folder: Path) -> Source:
    """Return the site without readings or counts; its clock begins at ``NOW_MS``, and who calls closes it."""
    tables = "".join(
        f'[[pump]]\nname = "{name}"\nbus = "{bus}"\nunit_id = {unit}\nregister_map = "map.toml"\n'
        for bus, pumps in PUMPS.items()
        for unit, name in pumps.items()
    )
    (folder / "map.toml").write_text(MAP, encoding="utf-8")
    (folder / "site.toml").write_text(SITE + tables, encoding="utf-8")
    begun_ms = time.time_ns() // 10**6
    return open_source(folder / "site.toml", Clock(simulated_start_ms=NOW_MS, real_start_ms=begun_ms))


def fill(source: Source) -> None:
    """Put two days of counts and the newest readings into the site."""
    source.store.record_lines(list(story()))
    dead = set(PUMPS["roof"].values())
    for pumps in PUMPS.values():
        for name in pumps.values():
            last = DEAD_FROM_MS if name in dead else NOW_MS - 4_000
            source.store.append([Reading(pump=name, time_utc_ms=last, speed_rpm=2000.0)])
            if name in dead:
                source.store.record_failures([no_reply(name, NOW_MS - 20_000)])


def no_reply(pump: str, time_utc_ms: int) -> PollFailure:
    return PollFailure(
        pump=pump, time_utc_ms=time_utc_ms, kind=FailureKind.NO_REPLY, sentence="no reply within 0.5 s"
    )


def story() -> Iterable[LineQuarter]:
    """Yield the counts: plant_room damaged since noon on long answers and its unit 12 later, roof dead."""
    for start in range(NOW_MS - QUARTERS * QUARTER_MS, NOW_MS, QUARTER_MS):
        since_noon = start >= NOON_MS
        for unit in PUMPS["plant_room"]:
            reply_s = 0.18 if unit == 12 and since_noon else 0.025
            yield counted("plant_room", unit, start, damaged=12 if since_noon else 0, reply_s=reply_s)
        for unit in PUMPS["filter_hall"]:
            yield counted("filter_hall", unit, start, reply_s=0.012)
        for unit in PUMPS["roof"]:
            if start >= DEAD_FROM_MS:
                yield counted("roof", unit, start, no_reply=15, requests=15)
            else:
                yield counted("roof", unit, start, reply_s=0.04)
        for unit in (5, 6):
            yield counted("yard", unit, start, reply_s=0.012)


def counted(
    bus: str,
    unit: int,
    start_ms: int,
    *,
    requests: int = REQUESTS,
    damaged: int = 0,
    no_reply: int = 0,
    refused: int = 0,
    reply_s: float = 0.025,
) -> LineQuarter:
    """Return a quarter in which half of the requests ask for long answers, and all damage hits those."""
    answers = requests - damaged - no_reply - refused
    times = [0] * (len(REPLY_EDGES_S) + 1)
    times[reply_class(reply_s)] = answers
    return LineQuarter(
        bus=bus,
        unit=unit,
        start_utc_ms=start_ms,
        end_utc_ms=start_ms + QUARTER_MS,
        watched_s=900.0,
        busy_s=requests * 0.06 + no_reply * 0.5,
        requests=requests,
        answers=answers,
        damaged=damaged,
        no_reply=no_reply,
        refused=refused,
        long_answers=max(0, answers - requests // 2),
        long_damaged=damaged,
        reply_times=tuple(times),
    )
