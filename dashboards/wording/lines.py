"""What is said of a line: whether anybody answers, what became worse and since when, what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboards.display import BOUND, number
from dashboards.line_views import ErrorKind, Line, LineState, Worse
from dashboards.moments import moment_words
from dashboards.views import PageFrame

STATES: Final[dict[LineState, str]] = {
    "answers": "answers",
    "some_silent": "some drives are silent",
    "dead": "dead: nobody answers",
    "not_asked": "nobody is asked",
    "not_counted": "nothing counted yet",
}
ERRORS: Final[dict[ErrorKind, str]] = {
    "no_reply": "No reply",
    "damaged": "Damaged",
    "refused": "Refused",
    "echo": "Own echo",
    "no_link": "No link",
}
ERRORS_EXPLAINED: Final[dict[ErrorKind, str]] = {
    "no_reply": "Silence until the time-out: the drive is off, has another address, or its wires are off.",
    "damaged": "Bytes came, but no frame with a good checksum: termination, bias, noise, two drives at once.",
    "refused": "The drive answered with an exception: the wires are right, the register is not.",
    "echo": "Our own request came back and nothing else: the adapter hears itself.",
    "no_link": "The port or the host was away, or another master was heard there, so nothing was sent.",
}
FULL: Final = 0.9
"""Share of time [-] from which a line is called full: a turn then waits for the one before it."""
LATER: Final = (
    "A drive that was given more to do answers later; so does a gateway that others ask too, and an adapter "
    "that collects bytes for longer."
)


def share(value: float | None) -> str:
    r"""Return a share in percent: one in a thousand of errors is worth its digit.

    >>> share(0.0123), share(0.0), share(0.0004), share(None)
    ('1.2\xa0%', '0\xa0%', 'below 0.1\xa0%', '–')
    """
    if value is None or value == 0 or value >= 0.1:
        return f"{number(None if value is None else value * 100, 3, 0)}" + (
            "" if value is None else f"{BOUND}%"
        )
    return f"below 0.1{BOUND}%" if value < 0.001 else f"{value * 100:.1f}{BOUND}%"


def reply_words(seconds: float | None) -> str:
    r"""Return a reply time.

    >>> reply_words(0.0354), reply_words(1.5), reply_words(2.0), reply_words(0.001)
    ('35\xa0ms', '1.5\xa0s', '2\xa0s or more', 'below 2\xa0ms')
    """
    if seconds is None:
        return number(None, 3, 0)
    if seconds < 0.002:
        return f"below 2{BOUND}ms"
    if seconds >= 2:
        return f"2{BOUND}s or more"
    return f"{seconds * 1000:.0f}{BOUND}ms" if seconds < 1 else f"{seconds:.2g}{BOUND}s"


def kind_words(line: Line) -> str:
    """Return where a line is and how it is set, in one line."""
    heard = "another master polls it, we listen" if line.is_listened else ""
    return ", ".join(filter(None, (line.place, line.setting, heard)))


def dead_words(line: Line, frame: PageFrame) -> str:
    """Return what to do about a line on which nobody answers or is asked; empty while somebody does."""
    if line.state not in ("dead", "not_asked"):
        return ""
    since = (
        "None of its pumps was ever read."
        if line.last_reading_utc_ms is None
        else f"The last good reading of any of its pumps is of {_at(line.last_reading_utc_ms, frame)}."
    )
    if line.state == "not_asked":
        why = next((unit.why_not_asked for unit in line.units if unit.why_not_asked), line.place)
        return f"Nobody is asked on this line. {why.rstrip('.')}. {since}"
    return f"Nobody answers on this line. {since} {_first_looks(line)}"


def _first_looks(line: Line) -> str:
    if line.is_listened:
        return (
            "Is the other master off, or are our two wires off the line? owncurve listen shows what is heard."
        )
    if any(unit.damaged for unit in line.units):
        return (
            "Bytes come, but no sound answer: look at the setting, at the two wires, the common wire and "
            "termination, and whether another master speaks here."
        )
    if line.setting:
        return (
            "All at once means the common part: power of the cabinet, the first stretch of cable, the "
            "adapter, or the line's setting. With polling stopped, owncurve survey looks closer."
        )
    return (
        "All at once means the common part: the network, the gateway's power or its serial side. With "
        "polling stopped, owncurve survey looks closer."
    )


def full_words(line: Line) -> str:
    """Return what to do about a line that is busy all the time; empty for one that has time left."""
    if line.use is None or line.use < FULL or line.is_listened:
        return ""
    silent = " Waiting for silent drives is part of it." if any(unit.no_reply for unit in line.units) else ""
    return (
        f"This line is full: busy {share(line.use)} of the time, so readings come later than their interval "
        f"says.{silent} Give pumps that change slowly a longer interval_s, or the line a higher baud rate."
    )


def counted_words(line: Line, hours_words: str) -> str:
    """Return what the numbers of a line's units are counts of."""
    what = "What the other master asked, as heard" if line.is_listened else "Requests we sent"
    return f"{what} over {hours_words}; percentages are of a unit's requests."


def refusing_words(units: Sequence[int]) -> str:
    """Return what to do about units that answered every read with an exception."""
    who = f"Unit {units[0]}" if len(units) == 1 else f"Units {', '.join(map(str, units))}"
    return (
        f"{who} answered every read with an exception: the wires are right. Look at the table and the "
        "addresses of the register map (manuals count from 0 or from 1), and whether the drive's panel lets "
        "its bus read."
    )


def unlisted_words(line: Line) -> str:
    """Return what units that the site file does not name are, empty where there are none."""
    units = [str(unit.unit) for unit in line.units if not unit.pump]
    if not units:
        return ""
    who = f"Unit {units[0]} is" if len(units) == 1 else f"Units {', '.join(units)} are"
    if line.is_listened:
        return (
            f"{who} asked by the other master and not in the site file: add as a [[pump]] what is to be kept."
        )
    return f"{who} not in the site file any more: these counts are of before."


def needs_a_look(line: Line) -> bool:
    """Return whether there is something to say of a line on which drives answer."""
    return bool(line.worse or line.troubles or full_words(line))


def worse_words(worse: Worse, frame: PageFrame) -> str:
    """Return what became worse and since when, in a sentence."""
    since = f"since about {_at(worse.since_utc_ms, frame)}"
    who = f"Unit {worse.unit}" + (f" ({worse.pump})" if worse.pump else "")
    if worse.kind == "later":
        return (
            f"{who} answers later {since}: half of its replies within {reply_words(worse.after)}, before "
            f"within {reply_words(worse.before)}. {LATER}"
        )
    change = f"{share(worse.after)} of requests, before {share(worse.before)}"
    if worse.kind == "damaged":
        return f"More answers are damaged {since}: {change}. What was done to the cable or near it then?"
    return (
        f"{who} is silent more often {since}: {change}. Is its plug loose, its drive switched off at times?"
    )


def _at(time_utc_ms: int, frame: PageFrame) -> str:
    return moment_words(time_utc_ms, frame.time_zone, frame.now_utc_ms)
