"""Invented papers of a pump: its handover sheet, its documents, and labels with and without an address."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace
from typing import Any

from collector.site import Bus, Pump, load_site
from dashboards import addresses, document_views, form_views, handover_views, label_views, pages, views

SITE = """
[site]
name = "Lindgrove swimming hall"
time_zone = "Europe/Lisbon"
[[bus]]
name = "plant room"
kind = "tcp"
host = "127.0.0.1"
[[pump]]
name = "P02"
bus = "plant room"
unit_id = 11
register_map = "map.toml"
rated_speed_rpm = 2900
rated_power_w = 1500
location = "Plant room"
system = "Pool water"
duty = "Pool filter B"
data_sheet = [{ flow_m3h = 0, head_m = 12.5 }, { flow_m3h = 20, head_m = 9 }]
[pump.nameplate]
make = "as stamped"
serial = "000017"
rated_flow_m3h = 14
rated_head_m = 8
impeller_diameter_mm = 165
phases = 3
seal = "carbon on ceramic"
bearings = [{ place = "drive end", outside_mm = 52, width_mm = 15 }, { outside_mm = 47, width_mm = 14 }]
[pump.taps]
suction_pipe_mm = 50
suction_gauge_height_m = -0.3
[pump.control]
mode = "constant_pressure"
bus_master = "none but Owncurve"
"""


@cache
def pump_and_bus() -> tuple[Pump, Bus]:
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "map.toml").touch()
        (folder / "site.toml").write_text(SITE, encoding="utf-8")
        site = load_site(folder / "site.toml")
    return site.pumps[0], site.buses[0]


def rows(now_ms: int, hostile: str) -> tuple[document_views.DocumentRow, ...]:
    kept: dict[str, Any] = {"added_utc_ms": now_ms - 86_400_000, "added_by": "technician"}
    return (
        document_views.DocumentRow(
            identity=3, title=hostile, kind="photo", media_type="image/jpeg", size_bytes=2_400_000, **kept
        ),
        document_views.DocumentRow(
            identity=2,
            title="Pump manual",
            kind="manual",
            media_type="application/pdf",
            size_bytes=9_100,
            **kept,
        ),
        document_views.DocumentRow(
            identity=1,
            title="",
            kind="photo",
            media_type="image/png",
            size_bytes=77,
            removed_utc_ms=now_ms,
            removed_by="manager",
            **kept,
        ),
    )


def handover(invented: SimpleNamespace, frame: dict[str, Any]) -> str:
    pump, bus = pump_and_bus()
    now = invented.NOW_MS
    blind = views.Unwatched(kinds=("hunting",), because="readings_too_far_apart", shorter_than_s=180)
    page = handover_views.HandoverPage(
        frame=invented.frame(**frame),
        pump=pump,
        bus=bus,
        baseline=handover_views.Baseline(
            state="full",
            hours=640,
            days=28,
            first_utc_ms=now - 56 * 86_400_000,
            last_utc_ms=now - 28 * 86_400_000,
        ),
        starts_limit_per_hour=11.5,
        head_loss_notice=0.008,
        head_loss_evidence_sd=5.0,
        provenance={name: "measured" for name in ("speed", "power", "flow", "head")},
        first_reading_utc_ms=now - 56 * 86_400_000,
        against_data_sheet=-0.021,
        not_watched=(blind,),
        documents=rows(now, invented.HOSTILE),
    )
    return pages.handover_page(page)


def documents(invented: SimpleNamespace, frame: dict[str, Any], *, is_wrong: bool) -> str:
    mistakes = {"file": "is no PDF, PNG or JPEG", "kind": "is missing; expected one of manual"}
    form = form_views.FormView(values={"title": "x" * 100}, mistakes=mistakes if is_wrong else {})
    page = document_views.DocumentsPage(
        frame=invented.frame(**frame), pump="P02", rows=rows(invented.NOW_MS, invented.HOSTILE), form=form
    )
    return pages.documents_page(page, 20)


def labels(invented: SimpleNamespace, frame: dict[str, Any], *, count: int) -> str:
    pumps = ("P02", invented.HOSTILE, "Handbuch für Pumpe 3", *(f"Pump {n}" for n in range(4, 40)))
    shown = tuple(
        label_views.Label(pump=name, place="Pool filter B, Pool water", address=address(name))
        for name in pumps[:count]
    )
    page = label_views.LabelPage(frame=invented.frame(**frame), site_file="site.toml", labels=shown)
    return pages.label_page(page)


def address(pump: str) -> str:
    return f"http://pumps.local:8620{addresses.pump_address(pump)}"
