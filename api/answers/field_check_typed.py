"""A field check as a person types it: every field read, and every mistake told beside its field."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from api.analytics.field_check import FLOW_WITHIN, GRADES, SHEET_GRADES, Gauge, Tap, Visit
from api.answers.mistakes import Gathered
from api.answers.source import Source
from collector.site import Pump
from collector.toml_file import did_you_mean
from collector.trend_log.times import TimeReader
from collector.typed_amounts import Kind, typed_amount
from dashboards.wording.terms import ROLES

T = TypeVar("T")

FIELDS: Final[tuple[str, ...]] = (
    "suction", "discharge", "suction_height", "discharge_height", "suction_pipe", "discharge_pipe", "span",
    "suction_span", "grade", "division", "one_gauge", "flow", "flow_within", "shutoff", "speed", "at",
    "minutes", "sheet_grade", "role", "note", "corrects",
)  # fmt: skip
"""The fields of a check; a command's options and a form's names are the same words."""
TICKS: Final = ("one_gauge", "shutoff")
USUAL_GRADE: Final = "B"
"""Of a gauge that says nothing else (common practice)."""
USUAL_MINUTES: Final = 5.0
LONGEST_NOTE: Final = 200
_DIVISIONS: Final = 50
"""Divisions on a gauge's span where nobody says (common practice: 50 to 100)."""
_FULL_VACUUM_PA: Final = -101_325.0
_EARLIEST_UTC_MS: Final = 946_684_800_000
_MINUTE_MS: Final = 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """A check as it was read: the visit, its start and length, and who says so."""

    visit: Visit
    at_utc_ms: int
    minutes: float
    role: str
    note: str
    corrects: int | None


def known_of_taps(pump: Pump) -> dict[str, str]:
    """Return what the site file says of the gauges' places, as it would be typed."""
    taps = pump.taps
    known = {
        "suction_height": (taps.suction_gauge_height_m, "m"),
        "discharge_height": (taps.discharge_gauge_height_m, "m"),
        "suction_pipe": (taps.suction_pipe_mm, "mm"),
        "discharge_pipe": (taps.discharge_pipe_mm, "mm"),
    }
    return {name: f"{value:g} {unit}" for name, (value, unit) in known.items() if value is not None}


def completed(pump: Pump, values: Mapping[str, str]) -> dict[str, str]:
    """Return what was typed, with the gauges' places of the site file where none was typed for gauges."""
    typed = {name: text.strip() for name, text in values.items() if text.strip()}
    return known_of_taps(pump) | typed if typed.keys() & {"suction", "discharge"} else typed


def read_typed(source: Source, values: Mapping[str, str]) -> Typed:
    """Read a check; ``values`` are texts by the names of ``FIELDS``, missing or empty where not typed.

    Raises
    ------
    FieldMistakes
        With a line for each field that cannot be right.
    """
    reader = _Reader({name: values.get(name, "").strip() for name in FIELDS})
    minutes = reader.number("minutes", USUAL_MINUTES, 0.5, 60)
    typed = Typed(
        visit=_visit(reader),
        at_utc_ms=reader.take("at", lambda at: _instant(source, at, minutes), 0),
        minutes=minutes,
        role=reader.take("role", _role, ""),
        note=reader.take("note", _note, ""),
        corrects=reader.take("corrects", _check_number, None),
    )
    reader.gathered.must_be_right()
    return typed


class _Reader:
    """Reads what was typed, field by field, and keeps the mistakes."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self.values = values
        self.gathered = Gathered()

    def has(self, name: str) -> bool:
        return bool(self.values[name])

    def take(self, name: str, read: Callable[[str], T], instead: T) -> T:
        return self.gathered.take(name, lambda: read(self.values[name]), instead)

    def amount(
        self, name: str, kind: Kind, least: float, most: float, *, usual: float | None = None
    ) -> float:
        """Return an amount within its limits; ``usual`` where nothing was typed and that may be."""
        if usual is not None and not self.has(name):
            return usual

        def read(text: str) -> float:
            value = typed_amount(text, kind)
            if not least <= value <= most:
                raise ValueError(f"{text!r} cannot be; is the unit right?")
            return value

        return self.take(name, read, least)

    def number(self, name: str, usual: float, least: float, most: float) -> float:
        def read(text: str) -> float:
            try:
                value = float(text) if text else usual
            except ValueError:
                value = float("nan")
            if not least <= value <= most:
                raise ValueError(f"{text!r} should be a number between {least:g} and {most:g}")
            return value

        return self.take(name, read, usual)


def _visit(reader: _Reader) -> Visit:
    is_shutoff, has_flow = reader.has("shutoff"), reader.has("flow")
    has_gauges = any(reader.has(name) for name in ("suction", "discharge"))
    if not has_gauges and (is_shutoff or not has_flow):
        what = "a shutoff test is read on gauges" if is_shutoff else "nothing was measured"
        reader.gathered.refuse("suction", f"is missing: {what}; type both gauges, or a strap-on flow")
    if is_shutoff and has_flow:
        reader.gathered.refuse("flow", "is not zero, so this is no shutoff test; leave one of the two out")
    within = reader.amount("flow_within", "percent", 0.5, 30, usual=100 * FLOW_WITHIN)
    taps, gauges = (_taps(reader, is_shutoff=is_shutoff), _gauges(reader)) if has_gauges else (None, None)
    return Visit(
        taps=taps,
        gauges=gauges,
        is_one_gauge=reader.has("one_gauge"),
        flow_m3h=reader.amount("flow", "flow", 0.01, 20_000) if has_flow else None,
        flow_within=within / 100,
        is_shutoff=is_shutoff,
        speed_rpm=reader.amount("speed", "speed", 10, 12_000) if reader.has("speed") else None,
        sheet_grade=reader.take("sheet_grade", _sheet_grade, "2B"),
    )


def _taps(reader: _Reader, *, is_shutoff: bool) -> tuple[Tap, Tap]:
    # Nothing flows at shutoff, so that the pipes do not matter.
    usual = 0.1 if is_shutoff else None
    suction, discharge = (
        Tap(
            pressure_pa=reader.amount(side, "pressure", _FULL_VACUUM_PA, 1e8),
            height_m=reader.amount(f"{side}_height", "length", -100, 100),
            pipe_m=reader.amount(f"{side}_pipe", "length", 0.005, 3, usual=usual),
        )
        for side in ("suction", "discharge")
    )
    return suction, discharge


def _gauges(reader: _Reader) -> tuple[Gauge, Gauge]:
    span = reader.amount("span", "pressure", 1e3, 1e8)
    own = reader.amount("suction_span", "pressure", 1e3, 1e8, usual=span)
    share = reader.take("grade", _error_share, GRADES[USUAL_GRADE])
    for side, most in (("suction", own), ("discharge", span)):
        _must_be_on_the_scale(reader, side, most)
    if reader.has("one_gauge") and own != span:
        reader.gathered.refuse("suction_span", "is another span, so it was not one and the same gauge")
    division = reader.amount("division", "pressure", 0, span / 2, usual=span / _DIVISIONS)
    is_stated = reader.has("division")
    suction, discharge = (
        Gauge(span_pa=each, error_share=share, division_pa=division if is_stated else each / _DIVISIONS)
        for each in (own, span)
    )
    return suction, discharge


def _must_be_on_the_scale(reader: _Reader, side: str, span_pa: float) -> None:
    text = reader.values[side]
    try:
        is_off = typed_amount(text, "pressure") > span_pa
    except ValueError:
        return  # Told beside its field already.
    if is_off:
        reader.gathered.refuse(side, f"{text!r} is beyond the gauge's span")


def _error_share(text: str) -> float:
    if not text:
        return GRADES[USUAL_GRADE]
    if text.upper() in GRADES:
        return GRADES[text.upper()]
    expected = f"a grade ({', '.join(GRADES)}) or a share of span such as 1.6 %"
    try:
        share = typed_amount(text, "percent") / 100
    except ValueError as error:
        raise ValueError(f"{text!r} is no grade; expected {expected}") from error
    if not 0 < share <= 0.2:
        raise ValueError(f"{text!r} is not between 0 and 20 %; expected {expected}")
    return share


def _sheet_grade(text: str) -> str:
    grade = text.upper() or "2B"
    if grade not in SHEET_GRADES:
        raise ValueError(f"{text!r} is no grade of a data sheet; expected one of {', '.join(SHEET_GRADES)}")
    return grade


def _role(text: str) -> str:
    role = text or "technician"
    if role not in ROLES:
        raise ValueError(f"{role!r} is no role{did_you_mean(role, list(ROLES))}")
    return role


def _note(text: str) -> str:
    if len(text) > LONGEST_NOTE or not text.isprintable():
        raise ValueError(f"should be one line of at most {LONGEST_NOTE} letters")
    return text


def _check_number(text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise ValueError(f"{text!r} should be the number of an earlier check of this pump")
    return int(text)


def _instant(source: Source, at: str, minutes: float) -> int:
    now = source.clock.now_utc_ms()
    if not at:
        return now - round(minutes * _MINUTE_MS)
    found = TimeReader(zone=ZoneInfo(source.site.time_zone)).read([at])[0]
    if isinstance(found, str):
        raise ValueError(f"{found}; expected such as 2026-10-12T14:00 (local) or 2026-10-12T14:00Z")
    if found < _EARLIEST_UTC_MS:
        raise ValueError(f"{at} is before the year 2000; is the year right?")
    if found > now:
        raise ValueError(f"{at} is still to come; record a check once it is made")
    return found
