"""Field checks in words: what is asked, what was found, what it may be, and what to do next."""

from __future__ import annotations

from typing import Final

from dashboards.display import amount, listed, percent, signed_percent
from dashboards.field_check_views import BesideView, FieldCheckLine, FieldCheckView, LossView
from dashboards.moments import day_words
from dashboards.views import UnitSystem
from dashboards.wording import plain

CAUTIONS_OF_GAUGES: Final = ("hot_pressure", "automatic_restart", "rotating_parts", "electrical")
CAUTIONS_OF_SHUTOFF: Final = ("shutoff_limit", "pressure_rises")
"""Codes of ``dashboards.wording.cautions``; the second before a shutoff test alone."""


BY: Final = {
    "earlier_check": "its own earlier field check",
    "own_curve": "its own curve",
    "data_sheet": "its data sheet",
}
UNPLACED: Final = {
    "no_gauges": "No gauges were read, so nothing is said of the head.",
    "no_own_flow": (
        "The head alone doesn't say how the pump is: where it stands on its curve takes a flow that the "
        "drive didn't compute. A strap-on meter gives one, and a shutoff test needs none."
    ),
    "no_speed": (
        "The drive reported no speed in these minutes and none was typed, so no curve can be held against it."
    ),
    "not_steady": (
        "The speed moved by more than 5 % in these minutes, so this was not one duty; hold it and read again."
    ),
    "no_head": "The discharge reads no higher than the suction: nothing to judge.",
}
CAUSES: Final = {
    "ring_leakage": "leakage past worn rings or a rough passage (shutoff head is nearly kept)",
    "impeller_wear": "a worn, fouled or too small impeller (shutoff head falls as well)",
    "valve_not_shut": "a discharge valve that doesn't close tight (then something flowed)",
}
NEXT: Final = {
    "register_addresses": "Look at the unit and the scale of this quantity in the register map.",
    "check_second_duty": (
        "Make a second check at another duty (another speed or valve setting): it tells an offset from a "
        "gain."
    ),
    "read_gauges_too": "Read gauges at suction and discharge as well.",
    "strap_on_or_shutoff": "Put a strap-on flow meter on, or make a brief shutoff-head test.",
    "read_speed": "Read the speed at the drive's panel and type it in.",
    "hold_speed": "Hold the pump at one speed for these minutes.",
    "read_gauges_again": "Read both gauges again, with one and the same gauge if it can be done.",
    "which_impeller": "More than expected: is it the data sheet of the impeller that is in it?",
    "type_in_data_sheet": (
        "Nothing to hold this against yet: type in the data sheet's points at rated speed, zero flow among "
        "them. This check is the pump's own beginning: a later one is held against it."
    ),
    "shutoff_head_test": (
        "A brief shutoff-head test tells leakage past the rings from the impeller: the first nearly keeps it."
    ),
    "plan_opening": (
        "Before the pump is opened: read again with one gauge at both taps; then plan for what was found "
        "at the next standstill."
    ),
}
AGREEMENTS: Final = {
    "agrees": "agrees",
    "differs": "differs; one duty can't tell an offset from a gain or another pump's curve",
    "offset": "is off by the same amount at every duty checked",
    "gain": "is off by the same share at every duty checked",
    "offset_or_gain": "is off; by an amount or by a share can't be told apart yet",
    "not_this_pumps": "is off in a way that neither an amount nor a share explains: another pump's curve",
}
PARTS: Final = {"pressure": "pressure", "height": "gauge heights", "velocity": "velocity head"}
FROM: Final = {
    "gauge_error": "the gauges' own error",
    "gauge_reading": "reading the gauges",
    "heights": "heights",
    "flow": "flow",
    "pipes": "pipe diameters",
    "density": "density",
}
FLOW_FROM: Final = {
    "strap_on": "by the strap-on meter",
    "shutoff": "none, valve closed",
    "drive": "as the drive reported",
}


def interval_words(effect: float, low: float, high: float) -> str:
    r"""Return a change with its 95 % interval.

    >>> interval_words(-0.06, -0.09, -0.03)
    '−6\xa0% (−9 to −3\xa0%)'
    """
    ends = [signed_percent(each, 0) for each in (low, high)]
    return f"{signed_percent(effect, 0)} ({ends[0].removesuffix(chr(160) + '%')} to {ends[1]})"


def assessed_words(line: FieldCheckLine, time_zone: str, now_utc_ms: int) -> str:
    """Return the newest assessment in one phrase."""
    day = day_words(line.at_utc_ms, time_zone, now_utc_ms)
    found = interval_words(line.effect, line.low, line.high)
    since = ", before the latest work" if line.is_before_work else ""
    return f"assessed by field check on {day}{since}: head {found} against {BY[line.by]}"


def loss_sentence(found: LossView) -> str:
    """Return what one comparison says, and what it leaves open."""
    size, by = interval_words(found.effect, found.low, found.high), BY[found.by]
    if found.verdict == "below":
        since = "it has lost head, or never had it" if found.by == "data_sheet" else "it has lost head"
        return f"Head is {size} against {by}: {since}."
    if found.verdict == "above":
        return f"Head is {size} against {by}: more than it should be, so something was read or typed wrong."
    unseen = percent(max(-found.low, 0.0))
    return f"Head is {size} against {by}: no loss is shown; one of up to {unseen} would not be seen."


def beside_sentence(found: BesideView, units: UnitSystem) -> str:
    """Return how the drive's value stands to what was measured, and what that says of its origin."""
    name = found.quantity.split("_")[0]
    drive, measured = (amount(each, found.quantity, units) for each in (found.drive, found.measured))
    readings = f"{found.count} reading{'s' if found.count != 1 else ''}"
    is_other_speed = name == "speed" and found.agreement != "agrees"
    told = "is another" if is_other_speed else AGREEMENTS[found.agreement]
    said = f"The drive's {name}, {drive} (mean of {readings}), {told}; measured {measured}."
    if found.unit_mistake:
        said += f" It is as if {found.unit_mistake} stood between."
    return f"{said} {_provenance(found, name)}".rstrip()


def _provenance(found: BesideView, name: str) -> str:
    if name == "speed":
        return "" if found.agreement == "agrees" else "Was it read in the same minutes?"
    if found.agreement == "agrees":
        return {
            "measured": f"It is what the site file declares: measured {name}.",
            "estimated": "The estimate fits at this duty; it would go on fitting itself when the pump wears.",
            "unknown": "One duty that agrees doesn't say whether it is measured: the manual does.",
        }[found.declared]
    return {
        "measured": f"Declared as measured, it is not what is there: the {name} sensor, its range or map.",
        "estimated": (
            "What the drive computes is not this pump's here; nothing of the pump's wear follows from that."
        ),
        "unknown": f"Don't declare this {name} as measured before that is cleared up.",
    }[found.declared]


def causes_sentence(view: FieldCheckView) -> str:
    """Return what a loss may be, empty without one."""
    if not view.causes:
        return ""
    words = listed((CAUSES.get(code, plain(code)) for code in view.causes), "or")
    apart = "; these are not told apart" if len(view.causes) > 1 else ""
    return f"It may be {words}{apart}."


def head_words(view: FieldCheckView, units: UnitSystem) -> str:
    """Return the total head with its 95 % interval."""
    ends = " to ".join(amount(each, "head_m", units) for each in (view.head_low_m, view.head_high_m))
    return f"{amount(view.head_m, 'head_m', units)} ({ends})"


def share_words(view: FieldCheckView) -> str:
    """Return what the head's uncertainty comes from, the largest first, as shares of its square."""
    whole = sum(each**2 for each in view.from_m.values())
    shares = sorted(((each**2 / whole, name) for name, each in view.from_m.items() if whole), reverse=True)
    return listed(f"{FROM[name]} {percent(share)}" for share, name in shares if share >= 0.01)


def sentences(view: FieldCheckView, units: UnitSystem) -> list[str]:
    """Return all that a check says, a line each."""
    said = []
    if view.head_m is not None:
        said.append(f"Total head {head_words(view, units)}; its uncertainty: {share_words(view)}.")
    said += [loss_sentence(each) for each in view.losses]
    if view.unplaced:
        said.append(UNPLACED[view.unplaced])
    said += [causes_sentence(view)] if view.causes else []
    return [*said, *(beside_sentence(each, units) for each in view.beside)]
