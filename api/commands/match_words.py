"""What ``owncurve match`` says: each quantity, where it stands, how sure that is, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from collector.matching import Answer, Sample, Sureness, doubts
from collector.matching.explain import Explanation
from collector.matching.map_text import WORDS, highest_raw, per_cent, step_words
from collector.matching.panel import NAMES

CAUTION: Final = (
    "This reads the drive and never writes to it. On a line that a controller polls, do not: owncurve listen "
    "hears such a line without a byte. Change speed or duty at the panel only where the site's practice lets "
    "you; drives can restart by themselves, and pipes and couplings do not wait."
)
ASK: Final = 'panel as it stands now, as in "1180 W, 142 gpm, 27.5 ft, 3120 rpm" (nothing to end): '
_CALLED: Final = {name: words for words, name in NAMES.items()}


def as_text(answers: Sequence[Answer], samples: Sequence[Sample]) -> str:
    """Return the answers as lines; first of all what may be mistyped."""
    times = f"{len(samples)} sample" + "s" * (len(samples) != 1)
    first = [f"  {words}" for words in look_first(answers, samples)]
    return "\n".join([f"After {times}:", *first, *(line for answer in answers for line in _lines(answer))])


def look_first(answers: Sequence[Answer], samples: Sequence[Sample]) -> list[str]:
    """Return a line for each typed value that does not go with the others, or with what a pump can do."""
    left_out = [answer for answer in answers if answer.left_out is not None]
    known = {answer.left_out for answer in left_out if answer.left_out is not None}
    return [*(answer.advice for answer in left_out), *doubts(samples, known)]


def standing(answers: Sequence[Answer], *, accept_likely: bool) -> str:
    """Return in one line what is sure, what not yet, and what to do next."""
    parts = []
    for sureness in (Sureness.SURE, Sureness.LIKELY, Sureness.OPEN, Sureness.NONE):
        names = [_CALLED[answer.quantity] for answer in answers if answer.sureness is sureness]
        if names:
            parts.append(f"{WORDS[sureness]}: {', '.join(names)}")
    worst = min(answers, key=lambda answer: answer.sureness)
    likely = any(answer.sureness is Sureness.LIKELY for answer in answers)
    accept = " (--accept-likely takes what is likely)" if likely and not accept_likely else ""
    called = _CALLED[worst.quantity]
    return f"not complete yet; {'; '.join(parts)}. Next, for the {called}: {worst.advice}{accept}"


def as_json(answers: Sequence[Answer], samples: Sequence[Sample]) -> dict[str, Any]:
    """Return the answers as JSON: shares are 0 to 1, addresses count from 0."""
    return {
        "samples": len(samples),
        "look_first": look_first(answers, samples),
        "answers": [
            {
                "quantity": answer.quantity,
                "sureness": answer.sureness.name.lower(),
                "share": round(answer.share, 6),
                "register": _as_json(answer.chosen),
                "same": [_as_json(twin) for twin in answer.twins],
                "instead": [_as_json(rival) for rival in answer.rivals],
                "next": answer.advice,
                "left_out": None if answer.left_out is None else answer.left_out + 1,
            }
            for answer in answers
        ],
    }


def _lines(answer: Answer) -> list[str]:
    called = _CALLED[answer.quantity]
    if answer.chosen is None:
        return [f"  {called:<18}{WORDS[answer.sureness]}: {answer.advice}"]
    sure = f"{WORDS[answer.sureness]} ({per_cent(answer.share)})"
    lines = [f"  {called:<18}{where_words(answer.chosen)}: {sure}"]
    if answer.chosen.scale.words:
        lines.append(f"{'':20}{answer.chosen.scale.words}")
    if answer.twins:
        lines.append(
            f"{'':20}the same, no finer: {'; '.join(where_words(each) for each in answer.twins[:3])}"
        )
    if answer.rivals and answer.sureness < Sureness.SURE:
        more = "" if len(answer.rivals) <= 2 else f"; and {len(answer.rivals) - 2} more"
        lines.append(f"{'':20}or: {'; '.join(where_words(each) for each in answer.rivals[:2])}{more}")
    if answer.left_out is not None:
        lines.append(f"{'':20}next: look at sample {answer.left_out + 1}, as said above, and read again")
    elif answer.advice:
        lines.append(f"{'':20}next: {answer.advice}")
    return lines


def where_words(explanation: Explanation) -> str:
    """Return where and how a value stands."""
    place = explanation.place
    orders = [] if place.byte_order == "big" else ["low byte first"]
    if len(place.words) > 1 and place.word_order == "little":
        orders.append("low word first")
    order = f" ({', '.join(orders)})" if orders else ""
    step = f" in {step_words(explanation)}" if step_words(explanation) else ""
    return f"{place.table} register {place.address} (counted from 0), {place.type}{order}{step}"


def _as_json(explanation: Explanation | None) -> dict[str, Any] | None:
    if explanation is None:
        return None
    place, scale = explanation.place, explanation.scale
    return {
        "table": place.table,
        "address": place.address,
        "type": place.type,
        "byte_order": place.byte_order,
        "word_order": place.word_order,
        "scale": scale.scale,
        "unit": scale.unit,
        "highest_raw": highest_raw(explanation),
    }
