"""What ``owncurve match`` needs of a drive: which line, which registers, how long it takes, reading them."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from api.commands import Refusal
from api.commands.bus_place import bus_at
from api.commands.progress import ProgressLine
from api.commands.saying import say

if TYPE_CHECKING:
    from collector.matching.places import Image
    from collector.registers.register_map import Table
    from collector.site import Bus

TABLES: Final[tuple[Table, ...]] = ("input", "holding")
_LAST_ADDRESS: Final = 65_535
_TURN_AROUND_S: Final = 0.02
"""How long a drive takes before it answers (common practice: a few to some tens of milliseconds)."""
_CHARACTERS: Final = 8 + 5 + 7
"""A request, an exception, and two silences of 3.5 (Modbus over Serial Line V1.02, from memory)."""
_LINE_EVERY_S: Final = 30.0
"""How often a log is told how far the search has come [s]."""


def addresses_of(words: str) -> tuple[int, int]:
    """Return the first and the last address of ``--addresses``; a refusal when it is none."""
    first, _, last = words.partition("-")
    if not (first.isdecimal() and last.isdecimal()) or not int(first) <= int(last) <= _LAST_ADDRESS:
        raise Refusal(f"--addresses should be FIRST-LAST, counted from 0, at most 65535, not {words!r}")
    return int(first), int(last)


def tables_of(arguments: argparse.Namespace) -> tuple[Table, ...]:
    """Return the tables to look at."""
    return TABLES if arguments.table == "both" else (arguments.table,)


def bus_of(arguments: argparse.Namespace) -> Bus:
    """Return the line or the host to ask; a refusal when it or the unit cannot be."""
    from collector.bus.line_setting import parse_line_setting

    try:
        setting = parse_line_setting(arguments.line) if arguments.line is not None else None
    except ValueError as error:
        raise Refusal(f"--line: {error}") from error
    bus = bus_at(arguments.place, arguments.kind, "match", setting)
    lowest, highest = (0, 255) if bus.kind == "tcp" else (1, 247)
    if not lowest <= arguments.unit <= highest:
        raise Refusal(f"--unit should be a drive's number, {lowest} to {highest}, not {arguments.unit}")
    return bus


def read_from(bus: Bus, unit: int) -> str:
    """Return which drive that is, as a sample keeps it.

    >>> from collector.site import Bus
    >>> read_from(Bus(name="a", kind="tcp", host="plant-gw"), 11)
    'plant-gw:502, unit 11'
    """
    setting = f", {bus.baud} 8{bus.parity}{bus.stop_bits}" if bus.kind == "serial" else ""
    return f"{bus.place}{setting}, unit {unit}"


def search_words(bus: Bus, tables: int, addresses: int) -> str:
    """Return how long finding the registers may take, before anything is asked.

    >>> from collector.site import Bus
    >>> search_words(Bus(name="a", kind="serial", port="COM3", baud=19200, parity="E"), 2, 256)
    'looking at 256 addresses of 2 tables: 1044 requests and about 33 s at most, mostly far fewer'
    """
    from collector.matching.layout import requests_at_most

    most = requests_at_most(tables, addresses)
    character_s = (10 + (bus.parity != "N")) / bus.baud if bus.kind != "tcp" else 0.0
    seconds = most * (_CHARACTERS * character_s + _TURN_AROUND_S)
    shown = f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
    plural = "s" * (tables != 1)
    return (
        f"looking at {addresses} addresses of {tables} table{plural}: {most} requests and about {shown} at "
        "most, mostly far fewer"
    )


@contextmanager
def reading(arguments: argparse.Namespace, bus: Bus) -> Iterator[Callable[[], Image]]:
    """Find the drive's registers, and give a function that reads them all once."""
    from collector.bus import ReadOnlyBus
    from collector.matching import find_layout, read_image

    tables, (first, last) = tables_of(arguments), addresses_of(arguments.addresses)
    say(search_words(bus, len(tables), last - first + 1))
    with ReadOnlyBus(bus) as line:
        with ProgressLine(_LINE_EVERY_S) as progress:
            layout = find_layout(line, arguments.unit, tables, first, last, progress, told=progress.say)
        count = sum(stretch.count for stretch in layout)
        say(f"unit {arguments.unit}: {count} registers, read in {len(layout)} requests")
        yield lambda: read_image(line, arguments.unit, layout)
