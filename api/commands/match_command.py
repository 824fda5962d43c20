"""``owncurve match``: find which registers explain what a drive's panel shows, and write the register map."""

from __future__ import annotations

import argparse
import json
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands import BUS_TROUBLE, FAILED, OK, Refusal, listening_first
from api.commands.bus_place import KINDS
from api.commands.keeping import keep
from api.commands.match_reading import TABLES, addresses_of, bus_of, read_from, reading
from api.commands.saying import say
from collector.whole_file import why_not_into

if TYPE_CHECKING:
    from collector.matching import Answer, Sample
    from collector.matching.places import Image

SUMMARY = "find which registers hold what the drive's panel shows, and write the register map"
EXAMPLE = 'owncurve match /dev/serial/by-id/usb-adapter --unit 11 --line "19200 8E1" --write maps/pump.toml'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``match``."""
    parser.add_argument(
        "place", nargs="?", metavar="PORT-or-HOST", help="the adapter (owncurve ports), or HOST[:PORT]"
    )
    listening_first.add_listening(parser)
    parser.add_argument("--unit", type=int, default=1, help="the drive's unit number (default: 1)")
    parser.add_argument(
        "--line", default=None, metavar='"19200 8E1"', help="the serial line's setting (default: 19200 8E1)"
    )
    parser.add_argument("--kind", choices=KINDS, help="needed for a host")
    parser.add_argument("--addresses", default="0-255", help="counted from 0 (default: 0-255)")
    parser.add_argument("--table", choices=(*TABLES, "both"), default="both", help="(default: both)")
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
    parser.add_argument(
        "--accept-likely", action="store_true", help="let what is likely, but not sure, stand in the map"
    )
    parser.add_argument("--name", default="drive", help="the map's name (default: drive)")
    parser.add_argument("--force", action="store_true", help="replace the map that is there")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Take samples, say what explains them; 0 when every quantity typed is sure, 1 when not yet."""
    from api.commands.match_words import as_json, as_text, standing
    from collector.matching import answers
    from collector.matching.map_text import is_taken

    _refuse_what_cannot_be(arguments)
    samples = _kept(arguments)
    if arguments.place is not None:
        samples += _taken(arguments, samples)
    if not samples:
        raise Refusal(
            "no sample was taken, so nothing can be said; type what the panel shows, or --samples FILE"
        )
    found = answers(samples, arguments.rated_speed)
    print(json.dumps(as_json(found, samples)) if arguments.json else as_text(found, samples))
    _write(arguments, found, samples)
    is_complete = all(is_taken(answer, arguments.accept_likely) for answer in found)
    if not is_complete:
        say(standing(found, accept_likely=arguments.accept_likely))
    return OK if is_complete else FAILED


def _refuse_what_cannot_be(arguments: argparse.Namespace) -> None:
    if arguments.place is None and arguments.samples is None and arguments.record is None:
        raise Refusal("say where the drive is (PORT-or-HOST), or --samples FILE to look at recorded ones")
    if arguments.place is None and arguments.panel is not None:
        raise Refusal("--panel needs the drive it stands on: add PORT-or-HOST")
    if arguments.record is not None and _same_file(arguments.record, arguments.samples):
        raise Refusal("--samples and --record are one file; --record alone goes on from what is in it")
    if arguments.rated_speed is not None and not 0 < arguments.rated_speed <= 12_000:
        raise Refusal(f"--rated-speed should be above 0 and at most 12000 rpm, not {arguments.rated_speed:g}")
    if arguments.write is not None:
        if arguments.write.exists() and not arguments.force:
            raise Refusal(f"{arguments.write} is there already; --force replaces it")
        if trouble := why_not_into(arguments.write.parent):
            raise Refusal(f"{arguments.write}: {trouble}")
    listening_first.refuse_too_short(arguments)
    addresses_of(arguments.addresses)
    if arguments.panel is not None:
        _panel(arguments.panel, arguments)


def _same_file(one: Path, other: Path | None) -> bool:
    """Return whether two paths lead to one file, which need not be there yet."""
    return other is not None and os.path.realpath(one) == os.path.realpath(other)


def _panel(text: str, arguments: argparse.Namespace) -> None:
    """Refuse what of ``--panel`` cannot be read, before the drive is asked anything."""
    from collector.matching import PanelError, parse_panel

    try:
        parse_panel(text, arguments.rated_speed)
    except PanelError as error:
        raise Refusal(f"--panel: {error}") from error


def _kept(arguments: argparse.Namespace) -> list[Sample]:
    """Return the samples of the files, which must be of one drive, and of the one that is asked."""
    from collector.matching import load_samples, other_drive
    from collector.toml_file import TomlFileError

    asked = read_from(bus_of(arguments), arguments.unit) if arguments.place is not None else ""
    files = [arguments.samples] if arguments.samples is not None else []
    if arguments.record is not None and arguments.record.exists():
        files.append(arguments.record)
    try:
        kept = [sample for file in files for sample in load_samples(file, arguments.rated_speed, say)]
    except TomlFileError as error:
        raise Refusal(str(error)) from error
    trouble = other_drive(kept, asked)
    if trouble:
        raise Refusal(f"{' and '.join(str(file) for file in files)}: {trouble}")
    return kept


def _taken(arguments: argparse.Namespace, kept: Sequence[Sample]) -> list[Sample]:
    """Return the samples taken at the drive; each is in the file of ``--record`` before the next."""
    from api.commands.match_words import CAUTION
    from collector.bus import BusError
    from collector.matching import NothingToRead

    bus = bus_of(arguments)
    say(CAUTION)
    if bus.kind == "serial" and not arguments.i_am_the_only_master:
        listening_first.listen_first(bus.place, arguments.listen, threading.Event())
    try:
        with reading(arguments, bus) as read:
            if arguments.panel is not None:
                return [_sample(arguments, arguments.panel, read(), read)]
            return list(_asked_for(arguments, read, kept))
    except NothingToRead as error:
        raise Refusal(str(error), FAILED) from error
    except BusError as error:
        raise Refusal(str(error), BUS_TROUBLE) from error


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
        print(as_text(answers(samples, arguments.rated_speed), samples), file=sys.stderr, flush=True)
        yield sample


def _typed(words: str) -> str:
    """Return a line from the reader, "" at the end of what is typed; prompts are no data."""
    print(words, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip()


def _sample(arguments: argparse.Namespace, text: str, before: Image, read: Callable[[], Image]) -> Sample:
    from collector.matching import Sample, append_sample, parse_panel
    from collector.toml_file import TomlFileError
    from collector.whole_file import NotWrittenError

    panel = parse_panel(text, arguments.rated_speed)
    sample = Sample(
        panel=panel,
        images=(before, read()),
        time_utc_ms=time.time_ns() // 1_000_000,
        read_from=read_from(bus_of(arguments), arguments.unit),
    )
    if arguments.record is not None:
        try:
            append_sample(arguments.record, sample)
        except (NotWrittenError, TomlFileError) as error:
            raise Refusal(str(error)) from error
    return sample


def _write(arguments: argparse.Namespace, found: Sequence[Answer], samples: Sequence[Sample]) -> None:
    from collector.matching import map_text

    if arguments.write is None:
        return
    now_ms = time.time_ns() // 1_000_000
    try:
        text = map_text(found, arguments.name, len(samples), now_ms, accept_likely=arguments.accept_likely)
    except ValueError as error:
        raise Refusal(str(error), FAILED) from error
    keep(arguments.write, text, is_forced=arguments.force)
    say(f"{arguments.write} is written; owncurve check proves it against the drive")
