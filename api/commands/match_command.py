"""``owncurve match``: find which registers explain what a drive's panel shows, and write the register map."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from api.commands import BUS_TROUBLE, FAILED, OK, Refusal, listening_first
from api.commands.bus_place import KINDS, bus_at
from api.commands.saying import say

if TYPE_CHECKING:
    from collector.matching import Answer, Sample
    from collector.matching.places import Image
    from collector.registers.register_map import Table
    from collector.site import Bus

SUMMARY = "find which registers hold what the drive's panel shows, and write the register map"
EXAMPLE = 'owncurve match /dev/serial/by-id/usb-adapter --unit 11 --line "19200 8E1" --write maps/pump.toml'
_LAST_ADDRESS: Final = 65_535
_TABLES: Final = ("input", "holding")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``match``."""
    parser.add_argument(
        "place", nargs="?", metavar="PORT-or-HOST", help="the adapter (owncurve ports), or HOST[:PORT]"
    )
    parser.add_argument(
        "--i-am-the-only-master", action="store_true", help="ask at once, without listening for a master"
    )
    parser.add_argument("--unit", type=int, default=1, help="the drive's unit number (default: 1)")
    parser.add_argument(
        "--line", default=None, metavar='"19200 8E1"', help="the serial line's setting (default: 19200 8E1)"
    )
    parser.add_argument("--kind", choices=KINDS, help="needed for a host")
    parser.add_argument("--addresses", default="0-255", help="counted from 0 (default: 0-255)")
    parser.add_argument("--table", choices=(*_TABLES, "both"), default="both", help="(default: both)")
    parser.add_argument(
        "--rated-speed", type=float, metavar="RPM", help="for drives that send speed in %% or Hz"
    )
    parser.add_argument(
        "--panel", metavar="TEXT", help="take one sample with what the panel shows now, and ask nothing"
    )
    parser.add_argument("--samples", type=Path, metavar="FILE", help="count the samples of this file too")
    parser.add_argument(
        "--record", type=Path, metavar="FILE", help="save each sample here at once; go on from those in it"
    )
    parser.add_argument("--write", type=Path, metavar="MAP.toml", help="write the register map")
    parser.add_argument("--name", default="drive", help="the map's name (default: drive)")
    parser.add_argument("--force", action="store_true", help="replace the map that is there")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Take samples, say what explains them; 0 when every quantity typed is likely or sure, 1 when not yet."""
    from api.commands.match_words import as_json, as_text
    from collector.matching import Sureness, answers, doubts

    _refuse_what_cannot_be(arguments)
    samples = _kept(arguments)
    if arguments.place is not None:
        samples += _taken(arguments, samples)
    if not samples:
        raise Refusal(
            "no sample was taken, so nothing can be said; type what the panel shows, or --samples FILE"
        )
    found = answers(samples, arguments.rated_speed)
    for words in doubts(samples):
        say(words)
    print(json.dumps(as_json(found, samples)) if arguments.json else as_text(found, len(samples)))
    _write(arguments, found, samples)
    return OK if all(answer.sureness >= Sureness.LIKELY for answer in found) else FAILED


def _refuse_what_cannot_be(arguments: argparse.Namespace) -> None:
    if arguments.place is None and arguments.samples is None and arguments.record is None:
        raise Refusal("say where the drive is (PORT-or-HOST), or --samples FILE to look at recorded ones")
    if arguments.place is None and arguments.panel is not None:
        raise Refusal("--panel needs the drive it stands on: add PORT-or-HOST")
    if arguments.rated_speed is not None and not 0 < arguments.rated_speed <= 12_000:
        raise Refusal(f"--rated-speed should be above 0 and at most 12000 rpm, not {arguments.rated_speed:g}")
    if arguments.write is not None:
        if arguments.write.exists() and not arguments.force:
            raise Refusal(f"{arguments.write} is there already; --force replaces it")
        if not arguments.write.parent.is_dir():
            raise Refusal(f"{arguments.write.parent} is no folder, so no map can be written there")


def _kept(arguments: argparse.Namespace) -> list[Sample]:
    from collector.matching import load_samples
    from collector.toml_file import TomlFileError

    files = [arguments.samples] if arguments.samples is not None else []
    if arguments.record is not None and arguments.record.exists() and arguments.record not in files:
        files.append(arguments.record)
    try:
        return [sample for file in files for sample in load_samples(file, arguments.rated_speed)]
    except TomlFileError as error:
        raise Refusal(str(error)) from error


def _taken(arguments: argparse.Namespace, kept: Sequence[Sample]) -> list[Sample]:
    """Return the samples taken at the drive; each is in the file of ``--record`` before the next."""
    from api.commands.match_words import CAUTION
    from collector.bus import BusError
    from collector.matching import NothingToRead

    first, last = _addresses(arguments.addresses)
    bus = _bus(arguments)
    say(CAUTION)
    if bus.kind == "serial" and not arguments.i_am_the_only_master:
        listening_first.listen_briefly(bus.place)
    try:
        with _reading(arguments, bus, first, last) as read:
            if arguments.panel is not None:
                return [_one_sample(arguments, read, arguments.panel)]
            return list(_asked_for(arguments, read, kept))
    except NothingToRead as error:
        raise Refusal(str(error), FAILED) from error
    except BusError as error:
        raise Refusal(str(error), BUS_TROUBLE) from error


def _one_sample(arguments: argparse.Namespace, read: Callable[[], Image], text: str) -> Sample:
    from collector.matching import PanelError

    try:
        return _sample(arguments, text, read(), read)
    except PanelError as error:
        raise Refusal(f"--panel: {error}") from error


def _asked_for(
    arguments: argparse.Namespace, read: Callable[[], Image], kept: Sequence[Sample]
) -> Iterator[Sample]:
    """Ask for panels until nothing is typed, and show after each what it has settled.

    Trouble with the line ends the asking, not what was found by the samples before it.
    """
    from api.commands.match_words import ASK, as_text
    from collector.bus import BusError
    from collector.matching import PanelError, ReadingOn, answers

    samples = list(kept)
    while True:
        try:
            with ReadingOn(read) as latest:
                text = _typed(f"{len(samples) + 1}. {ASK}")
            if not text:
                return
            before = latest.image()
            sample = _sample(arguments, text, before, read)
        except PanelError as error:
            say(str(error))
            continue
        except BusError as error:
            if not samples:
                raise
            say(f"{error}; going by the samples so far")
            return
        samples.append(sample)
        print(as_text(answers(samples, arguments.rated_speed), len(samples)), file=sys.stderr, flush=True)
        yield sample


def _typed(words: str) -> str:
    """Return a line from the reader, "" at the end of what is typed; prompts are no data."""
    print(words, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip()


def _sample(arguments: argparse.Namespace, text: str, before: Image, read: Callable[[], Image]) -> Sample:
    from collector.matching import Sample, append_sample, parse_panel

    panel = parse_panel(text, arguments.rated_speed)
    sample = Sample(panel=panel, images=(before, read()), time_utc_ms=time.time_ns() // 1_000_000)
    if arguments.record is not None:
        try:
            append_sample(arguments.record, sample)
        except OSError as error:
            raise Refusal(f"{arguments.record}: cannot be written: {error.strerror or error}") from error
    return sample


@contextmanager
def _reading(arguments: argparse.Namespace, bus: Bus, first: int, last: int) -> Iterator[Callable[[], Image]]:
    """Find the drive's registers, and give a function that reads them all once."""
    from collector.bus import ReadOnlyBus
    from collector.matching import find_layout, read_image

    tables: tuple[Table, ...] = ("input", "holding")
    if arguments.table != "both":
        tables = (arguments.table,)
    with ReadOnlyBus(bus) as line:
        layout = find_layout(line, arguments.unit, tables, first, last, _progress)
        _progress("")
        count = sum(stretch.count for stretch in layout)
        say(f"unit {arguments.unit}: {count} registers, read in {len(layout)} requests")
        yield lambda: read_image(line, arguments.unit, layout)


def _addresses(words: str) -> tuple[int, int]:
    first, _, last = words.partition("-")
    if not (first.isdecimal() and last.isdecimal()) or not int(first) <= int(last) <= _LAST_ADDRESS:
        raise Refusal(f"--addresses should be FIRST-LAST, counted from 0, at most 65535, not {words!r}")
    return int(first), int(last)


def _bus(arguments: argparse.Namespace) -> Bus:
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


def _write(arguments: argparse.Namespace, found: Sequence[Answer], samples: Sequence[Sample]) -> None:
    from collector.matching import map_text, write_map

    if arguments.write is None:
        return
    try:
        text = map_text(found, arguments.name, len(samples), time.time_ns() // 1_000_000)
        write_map(arguments.write, text, replace=arguments.force)
    except FileExistsError as error:
        raise Refusal(f"{arguments.write} is there already; --force replaces it") from error
    except OSError as error:
        raise Refusal(f"{arguments.write}: cannot be written: {error.strerror or error}") from error
    except ValueError as error:
        raise Refusal(str(error), FAILED) from error
    say(f"{arguments.write} is written; owncurve check proves it against the drive")


def _progress(words: str) -> None:
    if sys.stderr.isatty():
        print(f"\r{words:<78}" + ("" if words else "\r"), end="", file=sys.stderr, flush=True)
