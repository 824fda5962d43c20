"""Figures as the chart library's JSON."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Query

from api.answers.pictures import (
    Range,
    curve_picture_within,
    energy_picture,
    range_around,
    range_of,
    trend_picture,
)
from api.routes.inputs import Answering, NamedPump, Number, Units
from dashboards import addresses, figures

router = APIRouter(prefix=addresses.FIGURE, include_in_schema=False)

RangeName = Annotated[Literal["day", "week", "month", "all"], Query(alias="range")]
Scheme = Literal["light", "dark"]


def within(
    source: Answering, pump: NamedPump, days: RangeName = "week", finding: Number | None = None
) -> Range:
    """Return the time of a finding and some beside it where one is named, else the named range."""
    if finding is None:
        return range_of(source, pump, days)
    stored = source.api_store.finding(finding)
    if stored is None or stored.finding.pump != pump.name:
        raise HTTPException(404, f"{pump.name} has no finding {finding}.")
    return range_around(source, pump, stored)


Within = Annotated[Range, Depends(within)]


@router.get("/head")
def head(
    source: Answering, pump: NamedPump, units: Units, within: Within, scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return head over flow."""
    return figures.head_figure(curve_picture_within(source, pump, within, units), scheme).answer()


@router.get("/power")
def power(
    source: Answering, pump: NamedPump, units: Units, within: Within, scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return power over flow."""
    return figures.power_figure(curve_picture_within(source, pump, within, units), scheme).answer()


@router.get("/against")
def against(
    source: Answering, pump: NamedPump, units: Units, within: Within, scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return head against the own curve over time."""
    return figures.against_curve_figure(curve_picture_within(source, pump, within, units), scheme).answer()


@router.get("/trend")
def trend(
    source: Answering, pump: NamedPump, units: Units, within: Within, scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return the trends."""
    return figures.trend_figure(trend_picture(source, pump, within, units), scheme).answer()


@router.get("/energy")
def energy(source: Answering, pump: NamedPump, units: Units, scheme: Scheme = "light") -> dict[str, Any]:
    """Return energy per volume by week."""
    return figures.energy_figure(energy_picture(source, pump, units), scheme).answer()
