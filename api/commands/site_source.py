"""Opening a site for a command, with every trouble said in one line."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands import FAILED, Refusal

if TYPE_CHECKING:
    from api.answers.source import Source


def add_site_argument(parser: argparse.ArgumentParser, *, clock: bool = False) -> None:
    """Add ``--site``, and ``--clock`` for a command that a demonstration starts."""
    parser.add_argument("--site", type=Path, default=Path("site.toml"), help="the site file")
    if clock:
        parser.add_argument("--clock", default=None, help=argparse.SUPPRESS)


@contextmanager
def opened_source(arguments: argparse.Namespace, *, to_read: bool = False) -> Iterator[Source]:
    """Give the site's source, and close it; one only ``to_read`` needs no right to write.

    Raises
    ------
    Refusal
        With one line when the site file, a register map or the database cannot be used.
    """
    from api.answers.source import open_source, open_source_to_read
    from collector.clock import Clock, clock_from_text
    from collector.registers import RegisterMapError
    from collector.site import SiteFileError
    from collector.store import StoreError

    text = getattr(arguments, "clock", None)
    try:
        opened = open_source_to_read if to_read else open_source
        source = opened(arguments.site, clock_from_text(text) if text else Clock())
        try:
            yield source
        finally:
            source.close()
    except (SiteFileError, RegisterMapError, ValueError) as error:
        raise Refusal(str(error)) from error
    except StoreError as error:
        raise Refusal(str(error), FAILED) from error


def must_be_a_pump(source: Source, name: str | None) -> None:
    """Refuse a name that the site file does not know; ``None`` stands for all pumps.

    One that has readings was in the site file before: nobody meant another name then.

    Raises
    ------
    Refusal
        That names the nearest pump.
    """
    from collector.toml_file import did_you_mean

    names = [pump.name for pump in source.site.pumps]
    if name is None or name in names:
        return
    if source.store.span(name) is not None:
        raise Refusal(f"{source.site.path}: {left_words(name)}")
    raise Refusal(f"{source.site.path} has no pump {name!r}{did_you_mean(name, names)}")


def left_words(pump: str) -> str:
    """Return what is said of a pump that the site file names no more."""
    return (
        f"{pump} has left the site file; its readings and findings are kept, and go on once a [[pump]] has "
        "this name again"
    )
