"""The page of the lines: who answers, what goes wrong and since when."""

from __future__ import annotations

from typing import Final

from dashboards import addresses
from dashboards.line_views import ERROR_KINDS, LinesPage, UnitOnLine
from dashboards.pages.environment import render
from dashboards.wording import lines

RANGE_WORDS: Final = {"day": "24 hours", "week": "7 days", "month": "28 days"}


def lines_page(page: LinesPage) -> str:
    """Return the page; the line that needs attention first stands first."""
    order = {"dead": 0, "not_asked": 1, "some_silent": 2, "answers": 3, "not_counted": 4}
    return render(
        "lines.html",
        page.frame,
        addresses.lines_address(page.range),
        page=page,
        lines=lines,
        in_order=sorted(page.lines, key=lambda line: (order[line.state], not lines.needs_a_look(line))),
        ranges=RANGE_WORDS,
        error_kinds=ERROR_KINDS,
        errors_of=errors_of,
        is_sound=is_sound,
        headline=headline(page),
    )


def headline(page: LinesPage) -> str:
    """Return the state of all lines in one sentence."""
    dead = [line.name for line in page.lines if line.state == "dead"]
    not_asked = [line.name for line in page.lines if line.state == "not_asked"]
    if dead:
        beside = f"; {len(not_asked)} not asked: {', '.join(not_asked)}" if not_asked else ""
        return f"{_lines(len(dead))} dead: {', '.join(dead)}{beside}"
    if not_asked:
        return f"{_lines(len(not_asked))} not asked: {', '.join(not_asked)}"
    silent = sum(line.state == "some_silent" for line in page.lines)
    if silent:
        return f"{_lines(silent)} with silent drives"
    worse = sum(lines.needs_a_look(line) for line in page.lines)
    if worse:
        return f"All lines answer; {_lines(worse).lower()} worth a look"
    counted = sum(line.state == "answers" for line in page.lines)
    if not counted:
        return "Nothing was counted on any line yet"
    if counted < len(page.lines):
        return f"{_lines(counted)} of {len(page.lines)} counted"
    return f"All lines answer{_unlisted(page)}"


def _unlisted(page: LinesPage) -> str:
    """Return that some of what was counted is nobody's: that all answer is said of the site file's pumps."""
    units = sum(not unit.pump for line in page.lines for unit in line.units)
    one = "one unit on them is" if units == 1 else f"{units} units on them are"
    return f"; {one} not in the site file" if units else ""


def _lines(count: int) -> str:
    return "One line" if count == 1 else f"{count} lines"


def errors_of(unit: UnitOnLine, kind: str) -> str:
    """Return the errors of a kind: how many, and which share of requests; a dash where there were none."""
    count: int = getattr(unit, kind)
    if not count or kind == "no_link":
        return str(count) if count else "–"
    return f"{count} ({lines.share(count / unit.requests)})"


def is_sound(unit: UnitOnLine) -> bool:
    """Return whether a narrow screen may say "no errors" of a unit instead of naming each kind."""
    return not unit.is_silent and not any(getattr(unit, kind) for kind in ERROR_KINDS)
