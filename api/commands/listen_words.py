"""What was heard on a line, in sentences: what it is, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collector.listening import LinePicture, UnitPicture, WriteSeen

CAUTION: Final = (
    "Listening sends nothing and disturbs nobody. A line with a master takes no second one: its answers and "
    "ours would damage each other, and drives may act on a lost command. Drives can restart by themselves; "
    "the site's own practice comes first."
)
TABLES: Final = {1: "coils", 2: "discrete inputs", 3: "holding registers", 4: "input registers"}
READ_KEYS: Final = ("function", "address", "count", "times", "every_s")
OTHER_KEYS: Final = ("unit", "function", "times")
FULL: Final = 0.8
MANY_DAMAGED: Final = 0.02
MOST_READS_TOLD: Final = 8
MOST_WORDS_TOLD: Final = 4
WRITES_COILS: Final = (5, 15)


def as_text(picture: LinePicture) -> str:
    """Return the picture as sentences, what matters most first."""
    return "\n".join(_lines(picture))


def as_json(picture: LinePicture) -> dict[str, Any]:
    """Return the picture as plain values; names carry their units, registers are counted from 0."""
    told = asdict(picture)
    setting = picture.setting
    told["setting"] = None if setting is None else {**asdict(setting), "words": setting.words}
    told["has_master"] = picture.has_master
    for unit in told["units"]:
        unit["reads"] = [dict(zip(READ_KEYS, each, strict=True)) for each in unit["reads"]]
    told["other_functions"] = [dict(zip(OTHER_KEYS, each, strict=True)) for each in picture.other_functions]
    return told


def _lines(picture: LinePicture) -> Iterator[str]:
    if not picture.bytes_heard:
        yield (
            f"Nothing was said in {picture.seconds:.0f} s. There is no master on this line, or it is off, or "
            "our wires are not on the line. If the drives' panels show a lost connection, the master is off; "
            "if nobody is meant to poll them, owncurve survey may ask."
        )
        return
    if picture.setting is None or not _anything_good(picture):
        yield from _nothing_understood(picture)
        return
    yield from _setting_lines(picture)
    yield from _master_lines(picture)
    for unit in picture.units:
        yield from _unit_lines(unit)
    yield from _written_lines(picture)
    yield from _other_lines(picture)
    yield from _error_lines(picture)


def _anything_good(picture: LinePicture) -> bool:
    return bool(picture.has_master or picture.strays or picture.other_functions)


def _nothing_understood(picture: LinePicture) -> Iterator[str]:
    if picture.setting is None:
        tried = "no setting from 9600 to 115200 baud made a frame of them"
    else:
        tried = f"at {picture.setting.words} no good frame was among them"
    yield f"{picture.bytes_heard:,} bytes came in {picture.seconds:.0f} s, but {tried}."
    if picture.setting is not None:
        yield "Leave --line out, and the setting is looked for."
    yield (
        "Try the two wires the other way round; look for a missing ground or termination, or whether "
        "something else than Modbus RTU is spoken here. If the master asks seldom, listen longer with "
        "--seconds."
    )


def _setting_lines(picture: LinePicture) -> Iterator[str]:
    setting = picture.setting
    if setting is None:
        return
    share = f"{picture.line_share:.0%} full" if picture.line_share >= 0.01 else "less than 1 % full"
    yield f"The line runs at {setting.words}; it is {share}."
    if picture.doubt:
        yield f"Of that only the speed is sure: {picture.doubt}."
    if picture.line_share >= FULL:
        yield "So full a line has no room for more: ask for less, less often, or at a higher speed."


def _master_lines(picture: LinePicture) -> Iterator[str]:
    if picture.masters_seen > 1:
        yield (
            "At least two masters speak on it: one asked while another waited for its answer. They damage "
            "each other; find the second and take it off the line."
        )
    elif picture.has_master:
        asked = len(picture.units)
        yield (
            f"A master polls {asked} unit{'s' if asked != 1 else ''} here: do not ask anything on this line "
            "as a second one. Its readings can be collected by listening: listen_only = true for this bus."
        )
    elif picture.strays:
        yield (
            "Answers are heard but never a request: on a four-wire line these are the drives' pair alone; "
            "the other pair carries the requests."
        )


def _unit_lines(unit: UnitPicture) -> Iterator[str]:
    yield f"unit {unit.unit}: {_how_it_answers(unit)}"
    for function, address, count, times, every_s in unit.reads[:MOST_READS_TOLD]:
        yield f"  {_place(function, address, count)}, {_often(times, every_s)}"
    if len(unit.reads) > MOST_READS_TOLD:
        yield f"  and {len(unit.reads) - MOST_READS_TOLD} other blocks; --json lists all"


def _place(function: int, address: int, count: int) -> str:
    if count == 1:
        return f"{TABLES[function].removesuffix('s')} {address} (counted from 0)"
    return f"{TABLES[function]} {address} to {address + count - 1} (counted from 0)"


def _often(times: int, every_s: float | None) -> str:
    return "heard once" if every_s is None else f"every {every_s:.2g} s, {times} times"


def _written_lines(picture: LinePicture) -> Iterator[str]:
    """Yield what is written to whom: it may be the signal that sets a speed and that nobody can trace."""
    to_whom = [(f"unit {unit.unit}", unit.written) for unit in picture.units if unit.written]
    if picture.written_to_all:
        to_whom.append(("all units at once", picture.written_to_all))
    for who, written in to_whom:
        yield f"A master writes to {who}:"
        for write in written[:MOST_READS_TOLD]:
            yield f"  {_what_is_written(write)}"
        if len(written) > MOST_READS_TOLD:
            yield f"  and to {len(written) - MOST_READS_TOLD} other places; --json lists all"
    if to_whom:
        yield (
            "Who looks for what starts a drive or sets its speed looks at these first: a drive that is set "
            "to obey its bus does what is written there."
        )


def _what_is_written(write: WriteSeen) -> str:
    function = 1 if write.function in WRITES_COILS else 3
    told = f"{_place(function, write.address, write.count)}, {_often(write.times, write.every_s)}"
    if not write.last:
        return told
    more = ", ..." if len(write.last) > MOST_WORDS_TOLD else ""
    return f"{told}, last {', '.join(map(str, write.last[:MOST_WORDS_TOLD]))}{more}"


def _how_it_answers(unit: UnitPicture) -> str:
    parts = [f"{unit.requests} requests, {unit.answers} answered"]
    if unit.turn_around_p50_s is not None and unit.turn_around_p95_s is not None:
        p50, p95 = unit.turn_around_p50_s * 1000, unit.turn_around_p95_s * 1000
        parts.append(f"after {p50:.0f} ms (95 % within {p95:.0f} ms)")
    elif unit.answers:
        parts.append("after a time that the adapter's lumps hide")
    parts += [
        f"{count} {words}"
        for count, words in (
            (unit.exceptions, "refused"),
            (unit.no_answers, "without an answer"),
            (unit.damaged, "with a damaged answer"),
            (unit.writes, "requests to write"),
        )
        if count
    ]
    if unit.requests and unit.no_answers == unit.requests:
        parts.append("nobody has this address, or it is off")
    return ", ".join(parts)


def _other_lines(picture: LinePicture) -> Iterator[str]:
    for unit, function, times in picture.other_functions:
        yield f"unit {unit}: function {function}, which is not read here, {times} frames"
    if picture.broadcasts:
        yield f"{picture.broadcasts} commands went to all units at once"


def _error_lines(picture: LinePicture) -> Iterator[str]:
    good = sum(unit.answers + unit.exceptions for unit in picture.units)
    share = picture.crc_errors / max(1, 2 * good + picture.crc_errors)
    errors = f"{picture.crc_errors} damaged frames ({share:.1%}), {picture.noise_bytes} stray bytes"
    if picture.bad_characters:
        errors += f", {picture.bad_characters} characters with a wrong parity or stop bit"
    yield f"Errors: {errors}."
    if share >= MANY_DAMAGED:
        yield (
            "That is more than a sound line has: check termination at both ends and nowhere else, bias, the "
            "shield's ground, and whether two units have one address."
        )
    if picture.strays:
        yield _stray_line(picture.strays)


def _stray_line(strays: int) -> str:
    if strays == 1:
        return "1 answer belonged to no request that was heard: its unit was late, or the request damaged."
    return (
        f"{strays} answers belonged to no request that was heard: their units were late, or the requests "
        "damaged."
    )
