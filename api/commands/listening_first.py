"""Before a line is asked anything: whether somebody else masters it."""

from __future__ import annotations

import argparse
import threading
from typing import TYPE_CHECKING, Final

from api.commands import BUS_TROUBLE, Refusal
from api.commands.saying import say
from collector.listen_first import LISTEN_FIRST_S, LONGEST_LISTEN_S

if TYPE_CHECKING:
    from collector.listening import LinePicture

LEAST_S: Final = 1.0
"""Less is no listening [s]."""


def add_listening(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that say how long is listened, and that a master that was heard is no matter."""
    parser.add_argument(
        "--listen",
        type=float,
        default=LISTEN_FIRST_S,
        metavar="SECONDS",
        help=f"for a master, before anything is asked (default: {LISTEN_FIRST_S:g})",
    )
    parser.add_argument(
        "--i-am-the-only-master", action="store_true", help="ask even where a master was heard"
    )


def refuse_too_short(arguments: argparse.Namespace) -> None:
    """Refuse a ``--listen`` that is none, unless it was said that nobody else is master."""
    least_s = 0.0 if arguments.i_am_the_only_master else LEAST_S
    if not least_s <= arguments.listen <= LONGEST_LISTEN_S:
        raise Refusal(
            f"--listen should be from {least_s:g} to {LONGEST_LISTEN_S:g} s, not {arguments.listen:g}"
        )


def listen_first(
    port: str, seconds: float, stop: threading.Event, *, is_only_master: bool = False
) -> LinePicture:
    """Listen on a serial port for so long [s], sending nothing, and return what was heard.

    Raises
    ------
    Refusal
        When the port cannot be opened, or when somebody else speaks there and ``is_only_master`` is not said.
    """
    from collector.listening import PortTrouble, listen
    from collector.poll.listening_gate import why_not_ask

    say(f"listening for {seconds:g} s; a master that asks less often is not noticed")
    try:
        picture = listen(port, None, seconds, stop)
    except PortTrouble as error:
        raise Refusal(str(error), BUS_TROUBLE) from error
    trouble = why_not_ask(picture)
    if trouble and not is_only_master:
        raise Refusal(f"{port}: {trouble}", BUS_TROUBLE)
    return picture
