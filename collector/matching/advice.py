"""What to do next, in one sentence: the change that would tell the remaining explanations apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from collector.matching.explain import Explanation, Shown

_PROPORTIONAL: Final = 0.02
"""Flow over speed that varied less than this [-] says of neither which register it is."""
_MANY: Final = 3


def advice(
    shown: Shown, chosen: Explanation | None, rivals: Sequence[Explanation], all_shown: Mapping[str, Shown]
) -> str:
    """Return the next step for a quantity that is not sure yet."""
    typed = ", ".join(dict.fromkeys(value.text for value in shown.values))
    if chosen is None:
        return (
            f"no register that was read explains {typed}: hold the pump steady while you type, look at "
            "the unit, or read more addresses (--addresses); where the panel flickers or moves in steps, say "
            "by how much, as in 1180 ±5 W"
        )
    if not shown.has_moved:
        return f"it has hardly moved so far ({typed}): {_change(shown, all_shown)}, and read again"
    wider = [rival for rival in rivals if is_only_wider(chosen, rival)]
    if wider and len(wider) == len(rivals):
        return (
            f"{_kinds(chosen, wider)} read the same up to a raw value of {_limit(chosen, wider)}: read again "
            "as near to full speed as the plant allows"
        )
    if rivals:
        count = f"{len(rivals)} other" if len(rivals) <= _MANY else f"more than {_MANY} other"
        ways = "way reads" if len(rivals) == 1 else "ways read"
        return f"{count} {ways} the same numbers so far: {_change(shown, all_shown)}, and read again"
    times = _times(len(shown.values))
    return f"nothing contradicts it, but {times} may be chance: {_change(shown, all_shown)}, and read again"


def stood_still(registers: int) -> str:
    """Return the next step where nothing that was read followed the panel."""
    return (
        f"none of the {registers} registers that were read changed while the panel did: its values lie "
        "elsewhere, so read more addresses (--addresses) or the other table (--table)"
    )


def _change(shown: Shown, all_shown: Mapping[str, Shown]) -> str:
    if goes_with_speed(shown, all_shown):
        return "close a valve a little at the same speed"
    if shown.quantity.name in ("energy_kwh", "run_time_h"):
        return "wait until the counter has grown"
    return "change the speed by 10 %"


def goes_with_speed(flow: Shown, all_shown: Mapping[str, Shown]) -> bool:
    """Return whether a flow was seen at one duty only: then what follows the speed may pass for it."""
    speed = all_shown.get("speed_rpm")
    if flow.quantity.name != "flow_m3h" or speed is None:
        return False
    at = dict(zip(speed.places, speed.values, strict=True))
    ratios = [
        value.value / at[place].value
        for value, place in zip(flow.values, flow.places, strict=True)
        if place in at and at[place].value
    ]
    return len(ratios) > 1 and max(ratios) - min(ratios) <= _PROPORTIONAL * max(map(abs, ratios))


def is_only_wider(chosen: Explanation, rival: Explanation) -> bool:
    """Return whether two explanations differ in taking one register or two, and read the same so far."""
    ours, theirs = chosen.place, rival.place
    shared = ours.table == theirs.table and bool(set(ours.words) & set(theirs.words))
    return shared and len(ours.words) != len(theirs.words) and not (ours.is_float or theirs.is_float)


def _kinds(chosen: Explanation, wider: Sequence[Explanation]) -> str:
    return " and ".join(sorted({chosen.place.type, *(each.place.type for each in wider)}))


def _limit(chosen: Explanation, wider: Sequence[Explanation]) -> int:
    narrow = min((chosen, *wider), key=lambda each: len(each.place.words))
    return 32_767 if narrow.place.type == "i16" else 65_535


def _times(count: int) -> str:
    return "one sample" if count == 1 else f"{count} samples"
