"""Where each page and figure stands: the one place that routes and pages agree on.

A pump's name may hold any character, a slash too, so it travels in the query and never in the path.
``units=SI`` or ``units=US`` on any page chooses the display units; the routes remember it in a cookie
named ``UNITS_COOKIE``.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final
from urllib.parse import urlencode

SITE: Final = "/"
PUMP: Final = "/pump"
FINDING: Final = "/finding"
ACKNOWLEDGE: Final = "/finding/acknowledge"
WEEK: Final = "/week"
WHY: Final = "/why"
HOURS: Final = "/api/hours"
LINES: Final = "/lines"
EXPLAINED: Final = "/explained"
SERVICE: Final = "/service"
SERVICE_TAKE_BACK: Final = "/service/take-back"
FIELD_CHECK: Final = "/field-check"
HANDOVER: Final = "/handover"
LABEL: Final = "/label"
DOCUMENTS: Final = "/documents"
DOCUMENT: Final = "/document"
DOCUMENT_REMOVE: Final = "/document/remove"
UPKEEP: Final = "/upkeep"
THRESHOLDS: Final = "/thresholds"
THRESHOLDS_PROGRESS: Final = "/thresholds/progress"
LIVE: Final = "/live"
FIGURE: Final = "/figure"
STATIC: Final = "/static"
PLOTLY: Final = "/static/plotly.min.js"

UNITS_COOKIE: Final = "units"
FIGURES: Final = ("head", "power", "against", "trend", "energy")
"""Names after ``FIGURE/``: head over flow, power over flow, head against the own curve over time, trends,
energy per volume by week."""
RANGES: Final = {"day": 1, "week": 7, "month": 28, "all": 0}
"""Ranges a person may pick for a figure, in days back from the newest reading; 0 is all there is."""
LINE_RANGES: Final = {"day": 24, "week": 7 * 24, "month": 28 * 24}
"""Ranges a person may pick for the lines, in hours back from now."""


def pump_address(pump: str) -> str:
    """Return the address of a pump's page.

    >>> pump_address("A/1 & B")
    '/pump?name=A%2F1+%26+B'
    """
    return f"{PUMP}?{urlencode({'name': pump})}"


def finding_address(identity: int) -> str:
    """Return the address of a finding's page."""
    return f"{FINDING}?{urlencode({'id': identity})}"


def week_address(start_utc_ms: int | None = None) -> str:
    """Return the address of a week's table; without a start, of the newest whole week."""
    return WEEK if start_utc_ms is None else f"{WEEK}?{urlencode({'start': start_utc_ms})}"


def why_address(start_utc_ms: int, pump: str | None = None) -> str:
    """Return the address of the page that explains a week: of a pump, or of all.

    >>> why_address(1000, "P01"), why_address(1000)
    ('/why?week=1000&pump=P01', '/why?week=1000')
    """
    return f"{WHY}?{urlencode(_week_and_pump(start_utc_ms, pump))}"


def why_figure_address(start_utc_ms: int, against: str, pump: str | None, units: str) -> str:
    """Return the address of the JSON of the figure that holds a week against another period."""
    asked = _week_and_pump(start_utc_ms, pump) | {"against": against, "units": units}
    return f"{FIGURE}/why?{urlencode(asked)}"


def _week_and_pump(start_utc_ms: int, pump: str | None) -> dict[str, int | str]:
    return {"week": start_utc_ms} | ({} if pump is None else {"pump": pump})


def hours_address(pump: str, start_utc_ms: int, end_utc_ms: int) -> str:
    """Return the address of a pump's hour rows as CSV, from start up to end (exclusive).

    >>> hours_address("P01", 0, 3_600_000)
    '/api/hours?pump=P01&start=1970-01-01T00%3A00%3A00Z&end=1970-01-01T01%3A00%3A00Z'
    """
    ends = (datetime.fromtimestamp(time / 1000, UTC) for time in (start_utc_ms, end_utc_ms))
    start, end = (f"{moment:%Y-%m-%dT%H:%M:%SZ}" for moment in ends)
    return f"{HOURS}?{urlencode({'pump': pump, 'start': start, 'end': end})}"


def service_address(pump: str, what: str = "", note: str = "") -> str:
    """Return the address of a pump's service log; its form is sent there too.

    ``what`` and ``note`` stand in the form already: the work that is asked for, to be recorded once done.

    >>> service_address("P01"), service_address("P01", "greased")
    ('/service?pump=P01', '/service?pump=P01&what=greased')
    """
    filled = {"what": what, "note": note}
    return f"{SERVICE}?{urlencode({'pump': pump} | {key: value for key, value in filled.items() if value})}"


def upkeep_address(pump: str | None = None) -> str:
    """Return the address of the work that falls due, at a pump or at all.

    >>> upkeep_address(), upkeep_address("P01")
    ('/upkeep', '/upkeep?pump=P01')
    """
    return UPKEEP if pump is None else f"{UPKEEP}?{urlencode({'pump': pump})}"


def handover_address(pump: str) -> str:
    """Return the address of a pump's handover sheet; its acceptance is sent there too.

    >>> handover_address("P01")
    '/handover?pump=P01'
    """
    return f"{HANDOVER}?{urlencode({'pump': pump})}"


def label_address(pump: str | None = None) -> str:
    """Return the address of a pump's label, without one of the sheet of all labels."""
    return LABEL if pump is None else f"{LABEL}?{urlencode({'pump': pump})}"


def documents_address(pump: str, told: str = "") -> str:
    """Return the address of a pump's documents; ``told`` is a code of what was just done there.

    >>> documents_address("P01"), documents_address("P01", "removed")
    ('/documents?pump=P01', '/documents?pump=P01&told=removed')
    """
    return f"{DOCUMENTS}?{urlencode({'pump': pump} | ({'told': told} if told else {}))}"


def document_address(identity: int) -> str:
    """Return the address of a document's content."""
    return f"{DOCUMENT}?{urlencode({'id': identity})}"


def field_check_address(pump: str) -> str:
    """Return the address of a pump's field checks; the form of a new one is sent there too.

    >>> field_check_address("P01")
    '/field-check?pump=P01'
    """
    return f"{FIELD_CHECK}?{urlencode({'pump': pump})}"


def service_take_back_address(pump: str) -> str:
    """Return the address to which a mistaken entry of a pump's service log is sent."""
    return f"{SERVICE_TAKE_BACK}?{urlencode({'pump': pump})}"


def thresholds_address(pump: str, loss_pct: int | None = None) -> str:
    """Return the address of a pump's thresholds, for a loss of so many percent of head.

    >>> thresholds_address("P01", 3)
    '/thresholds?pump=P01&loss=3'
    """
    return f"{THRESHOLDS}?{_pump_and_loss(pump, loss_pct)}"


def thresholds_progress_address(pump: str, loss_pct: int) -> str:
    """Return the address that tells how far the work on a pump's thresholds has come."""
    return f"{THRESHOLDS_PROGRESS}?{_pump_and_loss(pump, loss_pct)}"


def thresholds_figure_address(pump: str, loss_pct: int) -> str:
    """Return the address of the JSON of the figure of a pump's thresholds."""
    return f"{FIGURE}/thresholds?{_pump_and_loss(pump, loss_pct)}"


def lines_address(days: str | None = None) -> str:
    """Return the address of the page of the lines; ``days`` is a name of ``LINE_RANGES``.

    >>> lines_address(), lines_address("week")
    ('/lines', '/lines?range=week')
    """
    return LINES if days is None else f"{LINES}?{urlencode({'range': days})}"


def line_figure_address(bus: str, days: str) -> str:
    """Return the address of the JSON of a line's figure.

    >>> line_figure_address("plant_room", "day")
    '/figure/line?bus=plant_room&range=day'
    """
    return f"{FIGURE}/line?{urlencode({'bus': bus, 'range': days})}"


def _pump_and_loss(pump: str, loss_pct: int | None) -> str:
    return urlencode({"pump": pump} | ({} if loss_pct is None else {"loss": loss_pct}))


def live_address(pump: str | None = None, units: str | None = None) -> str:
    """Return the address of the newest values in words: of one pump, or of the site's list.

    A page names its own ``units``, so that its columns keep the unit of their header even when units are
    switched elsewhere.

    >>> live_address("P01", "US"), live_address()
    ('/live?pump=P01&units=US', '/live')
    """
    asked = {"pump": pump, "units": units}
    said = {key: value for key, value in asked.items() if value is not None}
    return f"{LIVE}?{urlencode(said)}" if said else LIVE


def figure_around_address(figure: str, pump: str, finding: int, units: str) -> str:
    """Return the address of a figure's JSON over the time of a finding and some time beside it.

    >>> figure_around_address("trend", "P01", 7, "SI")
    '/figure/trend?pump=P01&finding=7&units=SI'
    """
    return f"{FIGURE}/{figure}?{urlencode({'pump': pump, 'finding': finding, 'units': units})}"


def figure_address(figure: str, pump: str, days: str = "week", units: str | None = None) -> str:
    """Return the address of a figure's JSON; ``days`` is a name of ``RANGES``, ``units`` the page's own.

    >>> figure_address("head", "P01")
    '/figure/head?pump=P01&range=week'
    """
    own = {} if units is None else {"units": units}
    return f"{FIGURE}/{figure}?{urlencode({'pump': pump, 'range': days} | own)}"
