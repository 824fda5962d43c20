"""Writing what was found as a register map, with how sure each line is."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from collector.matching.explain import Explanation
from collector.matching.places import Place
from collector.matching.verdict import Answer, Sureness
from collector.registers.register_map import Order

WORDS: Final = {
    Sureness.SURE: "sure",
    Sureness.LIKELY: "likely, not sure",
    Sureness.OPEN: "open",
    Sureness.NONE: "not found",
}


def map_text(answers: Sequence[Answer], name: str, samples: int, time_utc_ms: int) -> str:
    """Return a register map that ``load_register_map`` reads; what is still open stands in it as a comment.

    Raises
    ------
    ValueError
        When there is not one quantity to write; one line.
    """
    settled = [
        answer for answer in answers if answer.chosen is not None and answer.sureness >= Sureness.LIKELY
    ]
    if not settled:
        raise ValueError("nothing is settled yet, so there is no map to write: take another sample")
    places = [answer.chosen.place for answer in settled if answer.chosen is not None]
    byte_order = _usual([place.byte_order for place in places])
    word_order = _usual([place.word_order for place in places if len(place.words) > 1])
    day = datetime.fromtimestamp(time_utc_ms / 1000, UTC).date().isoformat()
    lines = [
        f"# Found by comparing panel and registers, {samples} sample{'s' * (samples != 1)}, {day}.",
        '# The manual, where there is one, has the last word; a value for "no reading" stands only there.',
        "[map]",
        f"name = {json.dumps(name, ensure_ascii=False)}",
        'addresses = "zero-based"',
        f'byte_order = "{byte_order}"',
        f'word_order = "{word_order}"',
        "",
        "[quantity]",
    ]
    for answer in answers:
        lines += _entry_lines(answer, byte_order, word_order)
    return "\n".join(lines) + "\n"


def write_map(path: Path, text: str, *, replace: bool) -> None:
    """Write a map in one piece; FileExistsError when there is one and it may not be replaced."""
    if not replace:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
        return
    draft = path.with_name(f".{path.name}.draft")
    draft.write_text(text, encoding="utf-8")
    os.replace(draft, path)


def step_words(explanation: Explanation) -> str:
    """Return what one raw step is worth, as "0.1 gpm"; for a float its unit."""
    scale = explanation.scale
    words = f"{scale.scale:.10g} {scale.unit}".strip()
    return scale.unit if explanation.place.is_float and scale.scale == 1 else words


def _usual(orders: Sequence[Order]) -> Order:
    counted = Counter(orders).most_common(1)
    return counted[0][0] if counted else "big"


def _entry_lines(answer: Answer, byte_order: Order, word_order: Order) -> list[str]:
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
    settled = answer.sureness >= Sureness.LIKELY
    return [
        *lines,
        ("" if settled else "# ") + _entry(answer.quantity, answer.chosen, byte_order, word_order),
    ]


def _entry(quantity: str, explanation: Explanation, byte_order: Order, word_order: Order) -> str:
    place, scale = explanation.place, explanation.scale
    parts = [f'table = "{place.table}"', f"address = {place.address}", f'type = "{place.type}"']
    if scale.scale != 1:
        parts.append(f"scale = {scale.scale:.10g}")
    if scale.unit:
        parts.append(f'unit = "{scale.unit}"')
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
