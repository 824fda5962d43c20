"""Writing what was found as a register map, with how sure each line is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from collector.matching.explain import Explanation
from collector.matching.places import Place
from collector.matching.verdict import Answer, Sureness
from collector.registers.register_map import Order
from collector.toml_file import quoted

WORDS: Final = {
    Sureness.SURE: "sure",
    Sureness.LIKELY: "likely, not sure",
    Sureness.OPEN: "open",
    Sureness.NONE: "not found",
}

_NEVER_NEGATIVE: Final = frozenset({"energy_kwh", "run_time_h", "starts", "status_word", "fault_code"})


def map_text(
    answers: Sequence[Answer], name: str, samples: int, time_utc_ms: int, *, accept_likely: bool = False
) -> str:
    """Return a register map that ``load_register_map`` reads; what is not sure stands in it as a comment.

    ``accept_likely`` lets what is likely stand as if it were sure.

    Raises
    ------
    ValueError
        When there is not one quantity to write; one line.
    """
    settled = [answer.chosen for answer in answers if answer.chosen and is_taken(answer, accept_likely)]
    if not settled:
        raise ValueError(_why_no_map(answers))
    places = [chosen.place for chosen in settled]
    byte_order = _usual([place.byte_order for place in places])
    word_order = _usual([place.word_order for place in places if len(place.words) > 1])
    day = datetime.fromtimestamp(time_utc_ms / 1000, UTC).date().isoformat()
    lines = [
        f"# Found by comparing panel and registers, {samples} sample{'s' * (samples != 1)}, {day}.",
        '# The manual, where there is one, has the last word; a value for "no reading" stands only there.',
        "# A register is taken where it is sure; what is likely or open is a comment.",
        *(_about_signs() if any(highest_raw(chosen) for chosen in settled) else ()),
        "[map]",
        f"name = {quoted(name)}",
        'addresses = "zero-based"',
        f'byte_order = "{byte_order}"',
        f'word_order = "{word_order}"',
        "",
        "[quantity]",
    ]
    for answer in answers:
        taken = is_taken(answer, accept_likely)
        lines += _entry_lines(answer, byte_order, word_order, is_taken=taken)
    return "\n".join(lines) + "\n"


def is_taken(answer: Answer, accept_likely: bool = False) -> bool:
    """Return whether an answer is good enough to read a pump by."""
    return answer.sureness >= (Sureness.LIKELY if accept_likely else Sureness.SURE)


def highest_raw(explanation: Explanation) -> int | None:
    """Return up to which raw value the type is known, or None where it is known for all of them.

    Below half of its range a number without a sign and one with a sign read the same. Above it they do not,
    and one of them would be wrong: so nothing is read there until somebody knows. What only counts up, and
    what is a code, is never negative.
    """
    most = {"u16": 2**15 - 1, "u32": 2**31 - 1}.get(explanation.place.type)
    if most is None or explanation.quantity.name in _NEVER_NEGATIVE or explanation.track.largest > most:
        return None
    return most


def _why_no_map(answers: Sequence[Answer]) -> str:
    if any(answer.sureness is Sureness.LIKELY for answer in answers):
        return "nothing is sure yet, so no map is written: take another sample, or --accept-likely"
    return "nothing is settled yet, so there is no map to write: take another sample"


def _about_signs() -> list[str]:
    return [
        "# No negative value was seen, so u16 may as well be i16, and u32 i32. Above highest_raw they",
        "# differ, so nothing is taken: where the manual says which it is, state that without highest_raw.",
    ]


def step_words(explanation: Explanation) -> str:
    """Return what one raw step is worth, as "0.1 gpm"; for a float its unit."""
    scale = explanation.scale
    words = f"{scale.scale:.10g} {scale.unit}".strip()
    return scale.unit if explanation.place.is_float and scale.scale == 1 else words


def _usual(orders: Sequence[Order]) -> Order:
    counted = Counter(orders).most_common(1)
    return counted[0][0] if counted else "big"


def _entry_lines(answer: Answer, byte_order: Order, word_order: Order, *, is_taken: bool) -> list[str]:
    if answer.chosen is None:
        return [f"# {answer.quantity}: not found; {answer.advice}"]
    lines = [
        f"# {WORDS[answer.sureness]} ({per_cent(answer.share)})"
        + (f": {answer.advice}" if answer.advice else "")
    ]
    if answer.chosen.scale.words:
        lines.append(f"# {answer.chosen.scale.words}")
    if answer.twins:
        also = ", ".join(f"{twin.place.table} {twin.place.address}" for twin in answer.twins)
        lines.append(f"# the same also at {also}")
    return [
        *lines,
        ("" if is_taken else "# ") + _entry(answer.quantity, answer.chosen, byte_order, word_order),
    ]


def _entry(quantity: str, explanation: Explanation, byte_order: Order, word_order: Order) -> str:
    place, scale = explanation.place, explanation.scale
    parts = [f'table = "{place.table}"', f"address = {place.address}", f'type = "{place.type}"']
    if scale.scale != 1:
        parts.append(f"scale = {scale.scale:.10g}")
    if scale.unit:
        parts.append(f'unit = "{scale.unit}"')
    if (most := highest_raw(explanation)) is not None:
        parts.append(f"highest_raw = {most}")
    parts += _orders(place, byte_order, word_order)
    return f"{quantity} = {{ {', '.join(parts)} }}"


def _orders(place: Place, byte_order: Order, word_order: Order) -> list[str]:
    parts = [f'byte_order = "{place.byte_order}"'] if place.byte_order != byte_order else []
    if len(place.words) > 1 and place.word_order != word_order:
        parts.append(f'word_order = "{place.word_order}"')
    return parts


def per_cent(share: float) -> str:
    """Return a share of belief; never 100 %, which nothing can be.

    >>> per_cent(0.99997), per_cent(0.874)
    ('over 99.9 %', '87 %')
    """
    return (
        "over 99.9 %" if share > 0.999 else f"{100 * share:.0f} %" if share < 0.99 else f"{100 * share:.1f} %"
    )
