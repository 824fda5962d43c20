"""Before a serial line is asked anything: whether somebody else speaks on it. The one place that decides."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Final

from collector.bus import NoLink
from collector.bus.line_setting import LineSetting
from collector.listening import LinePicture, PortTrouble, listen
from collector.site import Bus

LEAST_TALK_BYTES: Final = 8
"""A request has so many (application protocol V1.1b3, 6.3; from memory); fewer are an open line's noise."""
AGAIN_S: Final = 30.0
LONGEST_AGAIN_S: Final = 600.0
"""After a master was heard the line is listened to again so much later, twice as late each time up to this:
the port is free in between, for a person who looks into it, and a line that is ours again is found [s]."""
_MOST_NAMED: Final = 8

Listen = Callable[[str, LineSetting | None, float, threading.Event], LinePicture]


class OtherMaster(NoLink):
    """Somebody else speaks on the line, so it is not asked."""


def why_not_ask(picture: LinePicture) -> str:
    """Return why nobody should be asked on a line that looks like this; empty when nothing was heard."""
    ways = (
        "listen_only = true in the site file collects by listening; else take that master off the line, or "
        "ask all the same with --i-am-the-only-master"
    )
    if picture.has_master and picture.setting is not None:
        return (
            f"a master polls this line at {picture.setting.words} ({_asked(picture)}), and a second one "
            f"would damage its traffic: nothing was sent. {ways}"
        )
    heard = f"{picture.bytes_heard} bytes in {picture.seconds:.0f} s"
    if picture.strays or picture.other_functions:
        return f"somebody speaks on this line ({heard}): nothing was sent; owncurve listen tells more. {ways}"
    if picture.bytes_heard >= LEAST_TALK_BYTES:
        return (
            f"something is heard on this line ({heard}), but no whole frame: a master at another setting, or "
            "noise of a line without bias or termination: nothing was sent; owncurve listen tells more. "
            f"{ways}"
        )
    return ""


def _asked(picture: LinePicture) -> str:
    units = [str(unit.unit) for unit in picture.units]
    if not units:
        return "all units at once"
    more = " ..." if len(units) > _MOST_NAMED else ""
    requests = sum(unit.requests for unit in picture.units)
    return (
        f"unit{'s' * (len(units) > 1)} {', '.join(units[:_MOST_NAMED])}{more}; {requests} "
        f"request{'s' * (requests > 1)} in {picture.seconds:.0f} s"
    )


class ListeningGate:
    """Called before a port is opened for asking; it may take ``listen_first_s`` of the bus.

    Raises OtherMaster in one sentence when somebody was heard, and without listening anew until it is time;
    NoLink when the port cannot be opened or ``stop`` came first.
    """

    def __init__(
        self,
        bus: Bus,
        stop: threading.Event,
        listen_at: Listen = listen,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._bus = bus
        self._stop = stop
        self._listen_at = listen_at
        self._clock_s = clock_s
        self._again_s = AGAIN_S
        self._next_s = float("-inf")
        self._trouble = ""

    def __call__(self) -> None:
        """Return when the line may be asked."""
        if self._bus.kind != "serial" or not self._bus.listen_first_s:
            return
        if self._clock_s() < self._next_s:
            raise OtherMaster(self._trouble)
        trouble = why_not_ask(self._heard())
        if not trouble:
            self._again_s = AGAIN_S
            return
        self._trouble = f"{self._bus.place}: {trouble}"
        self._next_s = self._clock_s() + self._again_s
        self._again_s = min(2 * self._again_s, LONGEST_AGAIN_S)
        raise OtherMaster(self._trouble)

    def _heard(self) -> LinePicture:
        bus = self._bus
        try:
            picture = self._listen_at(bus.place, bus.line_setting, bus.listen_first_s, self._stop)
        except PortTrouble as trouble:
            raise NoLink(str(trouble)) from trouble
        if self._stop.is_set():
            raise NoLink(f"{bus.place}: stopped before it was heard whether the line is free")
        return picture
