"""Recorded work stands on every picture with a time axis, and the works of one day in one note."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from dashboards import figures
from dashboards.views import ServiceMark

DAY_MS = 86_400_000


def drawn(invented: SimpleNamespace, name: str, marks: tuple[ServiceMark, ...]) -> figures.Figure:
    makers = {
        "against": lambda: figures.against_curve_figure(invented.curve_picture(services=marks), "light"),
        "trend": lambda: figures.trend_figure(invented.trend_picture(services=marks), "light"),
        "energy": lambda: figures.energy_figure(invented.energy_picture(services=marks), "light"),
    }
    return makers[name]()


def notes(figure: figures.Figure) -> list[str]:
    return [note["text"] for note in figure.layout["annotations"] if "✚" in note.get("text", "")]


def lines(figure: figures.Figure) -> int:
    return sum(shape.get("line", {}).get("dash") == "dot" for shape in figure.layout["shapes"])


def at(invented: SimpleNamespace, days_ago: float, kind: str, **more: bool) -> ServiceMark:
    now = invented.frame().now_utc_ms
    return ServiceMark(time_utc_ms=now - int(days_ago * DAY_MS), kind=kind, **more)


@pytest.mark.parametrize("name", ["against", "trend", "energy"])
def test_work_is_marked_on_every_picture_over_time(invented: SimpleNamespace, name: str) -> None:
    figure = drawn(invented, name, (at(invented, 5, "vented"), at(invented, 2, "seal_replaced")))
    assert lines(figure) == 2
    assert notes(figure) == ["✚ vented", "✚ seal replaced"]


@pytest.mark.parametrize("name", ["against", "trend", "energy"])
def test_works_of_one_day_share_a_note_and_keep_their_lines(invented: SimpleNamespace, name: str) -> None:
    marks = (at(invented, 5.0, "strainer_cleaned"), at(invented, 4.9, "vented"), at(invented, 4.9, "vented"))
    figure = drawn(invented, name, marks)
    assert notes(figure) == ["✚ strainer cleaned, vented"]
    assert lines(figure) == 3


def test_a_new_baseline_is_named_on_the_picture(invented: SimpleNamespace) -> None:
    figure = drawn(invented, "trend", (at(invented, 5, "impeller_changed", new_baseline=True),))
    assert notes(figure) == ["✚ impeller changed, new baseline"]
