"""The command line: ``owncurve COMMAND``. Each command is a light module; heavy imports wait for its run."""

from __future__ import annotations

import argparse
import importlib
import os
import select
import sys
from collections.abc import Sequence
from typing import Final, Protocol, cast

from api.commands.lifeline import LIFELINE_VARIABLE, hold_on_to_parent

COMMANDS: Final = (
    "demo",
    "simulate",
    "ports",
    "listen",
    "survey",
    "match",
    "registers",
    "check",
    "poll",
    "analyse",
    "serve",
    "run",
    "import",
    "findings",
    "service",
    "energy",
    "week",
    "field-check",
    "commission",
    "document",
    "upkeep",
)

OK: Final = 0
FAILED: Final = 1
WRONG_USAGE: Final = 2
BUS_TROUBLE: Final = 3
INTERRUPTED: Final = 130
_STOPPED: Final = "\nowncurve: stopped; nothing is half done, and the same command does the rest"
"""On a line of its own, below what the terminal shows of Ctrl-C."""


class Command(Protocol):
    """What a command module offers; ``run`` returns the exit code."""

    SUMMARY: str
    EXAMPLE: str

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Add the command's own arguments."""

    def run(self, arguments: argparse.Namespace) -> int:
        """Do it."""


class Refusal(Exception):
    """Something the reader must change before this can be done: one clear line and an exit code."""

    def __init__(self, sentence: str, exit_code: int = WRONG_USAGE) -> None:
        super().__init__(sentence)
        self.exit_code = exit_code


def main(words: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code: 0 ok, 1 failed, 2 wrong usage or file, 3 bus trouble.

    Output that nobody reads any more, as behind ``| head``, is a quiet end and no failure. Ctrl-C is one line
    and 130, whenever it comes, but for commands that it ends in good order.
    """
    try:
        try:
            return _run(words)
        finally:
            # Here, where it can be caught, and not while the interpreter shuts down.
            sys.stdout.flush()
    except BrokenPipeError:
        if not _reader_has_gone():
            raise
        return OK
    except KeyboardInterrupt:
        # A part of a process tree leaves the last word to the command that started it.
        if os.environ.get(LIFELINE_VARIABLE) != "1":
            print(_STOPPED, file=sys.stderr)
        return INTERRUPTED


def _run(words: Sequence[str] | None) -> int:
    arguments = _parser().parse_args(words)
    hold_on_to_parent()
    try:
        return cast(Command, arguments.command).run(arguments)
    except Refusal as refusal:
        print(f"owncurve: {refusal}", file=sys.stderr)
        return refusal.exit_code


def _reader_has_gone() -> bool:
    """Return whether standard output is what broke; then let the rest of it go nowhere."""
    place = sys.stdout.fileno()
    if sys.platform != "win32":
        waiting = select.poll()
        waiting.register(place, select.POLLOUT)
        if not any(state & select.POLLERR for _, state in waiting.poll(0)):
            return False
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, place)
    os.close(nowhere)
    return True


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="owncurve",
        description="Knows for every variable-speed pump whether it still does what its own curve says.",
        epilog="owncurve COMMAND --help shows each command with an example.",
    )
    places = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name in COMMANDS:
        command = cast(Command, importlib.import_module(f"api.commands.{name.replace('-', '_')}_command"))
        place = places.add_parser(
            name,
            help=command.SUMMARY,
            description=command.SUMMARY,
            epilog=f"example:  {command.EXAMPLE}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        command.add_arguments(place)
        place.set_defaults(command=command)
    return parser
