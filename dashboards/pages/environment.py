"""The templates' environment: every name is escaped, and a missing name is an error."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context

from dashboards import addresses, display, moments
from dashboards.pages import (
    attention,
    live,
    names,
    small_pictures,
    staleness,
    upkeep_rows,
    week_table,
    why_rows,
)
from dashboards.views import FindingCard, PageFrame
from dashboards.wording import (
    cautions,
    checks,
    formulas,
    kinds,
    plain,
    sentences,
    terms,
    unwatched,
    upkeep,
    why,
)


@cache
def environment() -> Environment:
    """Return the one environment, with autoescape always on: pump names may hold markup."""
    made = Environment(
        loader=PackageLoader("dashboards.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(
        addresses=addresses,
        attention=attention,
        cautions=cautions,
        checks=checks,
        display=display,
        formulas=formulas,
        kinds=kinds,
        live=live,
        pictures=small_pictures,
        names=names,
        plain=plain,
        sentences=sentences,
        staleness=staleness,
        terms=terms,
        unwatched=unwatched,
        upkeep_rows=upkeep_rows,
        upkeep_words=upkeep,
        week_table=week_table,
        why_rows=why_rows,
        why_words=why,
    )
    made.filters.update(_filters())
    return made


def _filters() -> dict[str, Callable[..., str]]:
    return {
        "amount": _amount,
        "bare": _bare,
        "day": _day,
        "moment": _moment,
        "machine_time": moments.machine_time,
        "percent": display.percent,
        "effect": _effect,
    }


def render(template: str, frame: PageFrame, address: str, **facts: Any) -> str:  # noqa: ANN401 - any view
    """Return a page's HTML; ``address`` is the page's own, for the unit switch."""
    joint = "&" if "?" in address else "?"
    return environment().get_template(template).render(frame=frame, here=f"{address}{joint}", **facts)


def _frame(context: Context) -> PageFrame:
    frame: PageFrame = context["frame"]
    return frame


@pass_context
def _amount(context: Context, value: float | None, quantity: str) -> str:
    return display.amount(value, quantity, _frame(context).units)


@pass_context
def _bare(context: Context, value: float | None, quantity: str) -> str:
    return display.bare(value, quantity, _frame(context).units)


@pass_context
def _day(context: Context, time_utc_ms: int) -> str:
    frame = _frame(context)
    return moments.day_words(time_utc_ms, frame.time_zone, frame.now_utc_ms)


@pass_context
def _moment(context: Context, time_utc_ms: int) -> str:
    frame = _frame(context)
    return moments.moment_words(time_utc_ms, frame.time_zone, frame.now_utc_ms)


@pass_context
def _effect(context: Context, card: FindingCard) -> str:
    frame = _frame(context)
    return sentences.effect_sentence(card, frame.time_zone, frame.now_utc_ms)
