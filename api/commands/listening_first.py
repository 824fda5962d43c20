"""Before a line is asked anything: whether somebody else masters it."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Final

from api.commands import BUS_TROUBLE, Refusal
from api.commands.saying import say

if TYPE_CHECKING:
    from collector.listening import LinePicture

BRIEFLY_S: Final = 5.0
"""A master polls every few seconds (common practice); survey, which comes first, listens longer [s]."""


def listen_briefly(port: str) -> None:
    """Listen on a serial port before the first request; a refusal when somebody else speaks there."""
    listen_first(port, BRIEFLY_S, threading.Event())


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
