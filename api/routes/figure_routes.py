"""Figures as the chart library's JSON."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query

from api.answers.pictures import curve_picture, energy_picture, trend_picture
from api.routes.inputs import Answering, NamedPump, Units
from dashboards import addresses, figures

router = APIRouter(prefix=addresses.FIGURE, include_in_schema=False)

RangeName = Annotated[Literal["day", "week", "month", "all"], Query(alias="range")]
Scheme = Literal["light", "dark"]


@router.get("/head")
def head(
    source: Answering, pump: NamedPump, units: Units, within: RangeName = "week", scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return head over flow."""
    return figures.head_figure(curve_picture(source, pump, within, units), scheme).answer()


@router.get("/power")
def power(
    source: Answering, pump: NamedPump, units: Units, within: RangeName = "week", scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return power over flow."""
    return figures.power_figure(curve_picture(source, pump, within, units), scheme).answer()


@router.get("/against")
def against(
    source: Answering, pump: NamedPump, units: Units, within: RangeName = "week", scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return head against the own curve over time."""
    return figures.against_curve_figure(curve_picture(source, pump, within, units), scheme).answer()


@router.get("/trend")
def trend(
    source: Answering, pump: NamedPump, units: Units, within: RangeName = "week", scheme: Scheme = "light"
) -> dict[str, Any]:
    """Return the trends."""
    return figures.trend_figure(trend_picture(source, pump, within, units), scheme).answer()


@router.get("/energy")
def energy(source: Answering, pump: NamedPump, units: Units, scheme: Scheme = "light") -> dict[str, Any]:
    """Return energy per volume by week."""
    return figures.energy_figure(energy_picture(source, pump, units), scheme).answer()
