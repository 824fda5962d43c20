"""The sheet of a pump's first day in words: one text for the page, for paper and for the command line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from collector.site import Bearing
from dashboards.display import amount, percent, signed_percent
from dashboards.field_check_views import FieldCheckView
from dashboards.handover_views import HandoverPage
from dashboards.moments import clock_words, local
from dashboards.wording import plain
from dashboards.wording.documents import KINDS
from dashboards.wording.terms import PROVENANCES, ROLES, quantity_words
from dashboards.wording.unwatched import unwatched_words

CAUTIONS: Final = (
    "lock_out",
    "stored_energy",
    "automatic_restart",
    "rotating_parts",
    "hot_pressure",
    "electrical",
)
SIGNED: Final = ("Handed over by", "Taken over by")
MODES: Final = {
    "constant_pressure": "holds a constant pressure",
    "proportional_pressure": "holds a pressure that falls with flow",
    "constant_speed": "runs at a constant speed",
    "constant_flow": "holds a constant flow",
    "constant_level": "holds a level",
    "temperature": "holds a temperature",
    "outside_reference": "follows a speed or setpoint from outside",
}
PROOF: Final = (
    "Not kept here. owncurve check proves each value at the drive and prints what proved it: keep that print "
    "with this sheet."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A fact with its name; without words nobody has stated it, and paper leaves room to write it."""

    label: str
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Facts under one title."""

    title: str
    lines: tuple[Line, ...]


def sections(page: HandoverPage) -> tuple[Section, ...]:
    """Return all that is known of the pump on its first day, in the order of the sheet."""
    return (
        Section(title="The pump", lines=tuple(_plates(page))),
        Section(title="Where it stands", lines=tuple(_place(page))),
        Section(title="Control", lines=tuple(_control(page))),
        Section(title="Readings", lines=tuple(_readings(page))),
        Section(title="Own curve", lines=tuple(_baseline(page))),
        Section(title="What is watched", lines=tuple(_watched(page))),
        Section(title="Documents", lines=tuple(_documents(page))),
    )


def _plates(page: HandoverPage) -> list[Line]:
    plate, pump = page.pump.nameplate, page.pump
    phases = {1: "single phase", 3: "three phases"}
    return [
        Line(label="Make", words=plate.make),
        Line(label="Model", words=plate.model),
        Line(label="Serial", words=plate.serial),
        Line(label="Rated flow", words=_amount(page, plate.rated_flow_m3h, "flow_m3h")),
        Line(label="Rated head", words=_amount(page, plate.rated_head_m, "head_m")),
        Line(label="Rated speed", words=_amount(page, pump.rated_speed_rpm, "speed_rpm")),
        Line(label="Rated power", words=_amount(page, pump.rated_power_w, "rated_power_w")),
        Line(label="Motor", words=_joined(_motor(page), phases.get(plate.phases or 0, ""))),
        Line(label="Impeller diameter", words=_amount(page, plate.impeller_diameter_mm, "diameter_mm")),
        Line(label="Seal", words=plate.seal),
        Line(label="Bearings", words="; ".join(_bearing(each) for each in plate.bearings)),
    ]


def _motor(page: HandoverPage) -> str:
    return _amount(page, page.pump.nameplate.motor_power_w, "rated_power_w")


def _bearing(bearing: Bearing) -> str:
    size = f"{bearing.outside_mm:g} mm outside, {bearing.width_mm:g} mm wide"
    return f"{bearing.place}: {size}" if bearing.place else size


def _place(page: HandoverPage) -> list[Line]:
    pump, taps = page.pump, page.pump.taps
    share = f"{pump.glycol_mass_pct:g} % by mass" if pump.glycol_mass_pct else ""
    return [
        Line(label="Location", words=pump.location),
        Line(label="System", words=pump.system),
        Line(label="Duty", words=pump.duty),
        Line(
            label="Fluid",
            words=_joined(
                plain(pump.fluid), share, _amount(page, pump.fluid_temperature_c, "fluid_temperature_c")
            ),
        ),
        Line(label="Suction tap", words=_tap(page, taps.suction_pipe_mm, taps.suction_gauge_height_m)),
        Line(label="Discharge tap", words=_tap(page, taps.discharge_pipe_mm, taps.discharge_gauge_height_m)),
    ]


def _tap(page: HandoverPage, pipe_mm: float | None, height_m: float | None) -> str:
    pipe = f"pipe {amount(pipe_mm, 'diameter_mm', page.frame.units)} inside" if pipe_mm is not None else ""
    height = (
        f"gauge {amount(height_m, 'head_m', page.frame.units)} over the common level"
        if height_m is not None
        else ""
    )
    return _joined(pipe, height)


def _control(page: HandoverPage) -> list[Line]:
    control = page.pump.control
    duty = _joined(
        _amount(page, control.duty_flow_m3h, "flow_m3h"), _amount(page, control.duty_head_m, "head_m")
    )
    return [
        Line(label="Mode", words=MODES.get(control.mode or "", "")),
        Line(label="Duty point", words=duty),
        Line(label="Master of its bus", words=control.bus_master),
        Line(label="Read by Owncurve", words=_way(page)),
    ]


def _way(page: HandoverPage) -> str:
    pump, bus = page.pump, page.bus
    if bus is None:
        return "not at the drive: from trend logs"
    if bus.listen_only:
        return f"unit {pump.unit_id} on {bus.name}, by listening to its master; nothing is asked"
    every = pump.interval_s or bus.interval_s
    return f"unit {pump.unit_id} on {bus.name}, asked every {every:g} s; never written to"


def _readings(page: HandoverPage) -> list[Line]:
    channels = [
        Line(label=channel.capitalize(), words=PROVENANCES.get(origin, plain(origin)))
        for channel, origin in page.provenance.items()
    ]
    first = page.first_reading_utc_ms
    since = "none yet" if first is None else clock_words(first, page.frame.time_zone)
    lines = [*channels, Line(label="First reading", words=since), Line(label="Proof", words=PROOF)]
    if page.field_check is not None:
        lines.append(Line(label="Field check", words=_field_check(page, page.field_check)))
    if page.is_doubted:
        lines.append(Line(label="In doubt", words="The readings contradict what is stated of their origin."))
    return lines


def _field_check(page: HandoverPage, check: FieldCheckView) -> str:
    units = page.frame.units
    beside = (
        f"{quantity_words(each.quantity).name.lower()} {amount(each.measured, each.quantity, units)} "
        f"({amount(each.low, each.quantity, units)} to {amount(each.high, each.quantity, units)}) beside the "
        f"drive's {amount(each.drive, each.quantity, units)}"
        for each in check.beside
    )
    head = "" if check.head_m is None else f"head {amount(check.head_m, 'head_m', units)} by gauges"
    found = "; ".join(beside) or head or "nothing that can be held against the drive"
    return f"newest on {_day(page, check.at_utc_ms)}: {found}"


def _baseline(page: HandoverPage) -> list[Line]:
    lines = [Line(label="Learned", words=learned_words(page)), Line(label="Accepted", words=_accepted(page))]
    if page.against_data_sheet is not None:
        shown = signed_percent(page.against_data_sheet)
        words = f"own curve {shown} of head against it at the usual duty; only the own curve judges"
        lines.append(Line(label="Data sheet", words=words))
    return lines


def learned_words(page: HandoverPage) -> str:
    """Return how far the own curve has come."""
    own = page.baseline
    since = f" since the work of {_day(page, own.since_utc_ms)}" if own.since_utc_ms else ""
    if own.state == "none":
        so_far = f"{_count(own.hours, 'judged hour')}{since}"
        return f"not yet: {so_far}; a first curve takes about four days of running"
    if own.first_utc_ms is None or own.last_utc_ms is None:
        return plain(own.state)
    span = f"{_day(page, own.first_utc_ms)} to {_day(page, own.last_utc_ms)}"
    of = f"from {_count(own.hours, 'hour')} on {_count(own.days, 'day')}, {span}{since}"
    if own.state == "full":
        return f"{of}; full, it changes no more"
    return f"{of}; still being learned, full after about {own.needed_days} days of running"


def _accepted(page: HandoverPage) -> str:
    own = page.baseline
    if own.accepted_utc_ms is None:
        return "by nobody yet" if own.state == "full" else "it can be accepted once it is full"
    by = ROLES.get(own.accepted_by, own.accepted_by).lower()
    note = f": {own.accepted_note}" if own.accepted_note else ""
    changed = "" if own.is_of_this_curve else "; the curve was learned anew since, accept it again"
    return f"by the {by} on {_day(page, own.accepted_utc_ms)}{note}{changed}"


def _watched(page: HandoverPage) -> list[Line]:
    stated = page.pump.starts_per_hour_limit is not None
    whose = "as the site file states" if stated else "a published or common bound, no maker's limit"
    sure = f"once its evidence is {page.head_loss_evidence_sd:g} standard errors wide"
    limits = [Line(label="Loss of head", words=f"told from {percent(page.head_loss_notice, 1)} on, {sure}")]
    if not any("repeated_starts" in each.kinds for each in page.not_watched):
        starts = f"told above {page.starts_limit_per_hour:g} an hour ({whose})"
        limits.append(Line(label="Starts", words=starts))
    return [*limits, *(Line(label="Not watched", words=unwatched_words(each)) for each in page.not_watched)]


def _documents(page: HandoverPage) -> list[Line]:
    kept = [row for row in page.documents if row.is_kept]
    return [Line(label=KINDS.get(row.kind, plain(row.kind)), words=row.title) for row in kept]


def _amount(page: HandoverPage, value: float | None, quantity: str) -> str:
    return "" if value is None else amount(value, quantity, page.frame.units)


def _joined(*words: str) -> str:
    return ", ".join(filter(None, words))


def _count(many: int, what: str) -> str:
    return f"{many:,} {what}{'' if many == 1 else 's'}"


def _day(page: HandoverPage, time_utc_ms: int) -> str:
    # With its year: paper is read in other years.
    day = local(time_utc_ms, page.frame.time_zone)
    return f"{day.day} {day:%B %Y}"
