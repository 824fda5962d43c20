"""What the counts of a survey say of the wires, in sentences: what it is, and what to look at first.

The rules are common practice of people who commission serial lines; where several causes look alike, all are
named, the likely and the easily looked at first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from collector.survey.counts import LEAST_DAMAGED, LineCounts
from collector.survey.plan import PLACES_WORDS

MUCH_WORSE: Final = 3.0
DAMAGED_SHARE: Final = 0.1
NOTABLE_SHARE: Final = 0.02
LEAST_FOREIGN: Final = 2
"""A single one may be chance: bytes that happen to have a good checksum."""


class TroubleKind(StrEnum):
    """Each kind has its own sentence."""

    NOTHING_ANSWERS = "nothing_answers"
    NO_GOOD_FRAME = "no_good_frame"
    GATEWAY_ALONE = "gateway_alone"
    LONG_FRAMES_DAMAGED = "long_frames_damaged"
    FRAMES_DAMAGED = "frames_damaged"
    OWN_ECHO = "own_echo"
    ONE_ADDRESS_TWICE = "one_address_twice"
    REFUSALS_ONLY = "refusals_only"
    LATE_ANSWERS = "late_answers"
    ANSWERS_MISSING = "answers_missing"
    ANOTHER_MASTER = "another_master"


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """A trouble and its sentence."""

    kind: TroubleKind
    words: str


def troubles_of(counts: LineCounts) -> tuple[Trouble, ...]:
    """Return what the counts point to, the most basic first; nothing for a sound line with drives on it."""
    return tuple(Trouble(kind=kind, words=words) for kind, words in _troubles(counts))


def _troubles(counts: LineCounts) -> Iterator[tuple[TroubleKind, str]]:
    if counts.foreign_requests >= LEAST_FOREIGN:
        yield TroubleKind.ANOTHER_MASTER, _another_master(counts)
    if counts.echoes:
        yield TroubleKind.OWN_ECHO, _own_echo(counts)
    if not counts.answering and counts.units_asked:
        yield _nobody(counts)
    damage = tuple(_damage(counts))
    # Where all are damaged, one of whom nothing else came is no sign of a second drive.
    all_are_damaged = any(kind is TroubleKind.FRAMES_DAMAGED for kind, _ in damage)
    if counts.twice or (_is_garbled_alone(counts) and not all_are_damaged):
        yield TroubleKind.ONE_ADDRESS_TWICE, _twice(counts)
    yield from damage
    if counts.late:
        yield TroubleKind.LATE_ANSWERS, _late(counts)
    if counts.losing and not damage:  # What spoils answers spoils requests too, and those find none.
        yield TroubleKind.ANSWERS_MISSING, _losing(counts)
    if counts.refusing:
        yield TroubleKind.REFUSALS_ONLY, _refusing(counts)


def _another_master(counts: LineCounts) -> str:
    writes = ""
    if counts.foreign_writes:
        named = ", ".join(f"function {code} to {_whom(unit)}" for code, unit in counts.foreign_writes)
        writes = f" It also writes ({named}): drives may act on a command that we damage."
    return (
        f"Another master asks on this line ({counts.foreign_requests} of its requests were heard): two "
        f"damage each other's traffic.{writes} Take it off the line first, or collect by listening (owncurve "
        "listen)."
    )


def _whom(unit: int) -> str:
    return f"unit {unit}" if unit else "everybody"


def _own_echo(counts: LineCounts) -> str:
    return (
        f"Our own requests come back ({counts.echoes} times): the adapter hears itself. That does no harm "
        "here, but turn local echo off at the adapter; on two wires its receiver should be off while it "
        "sends."
    )


def _nobody(counts: LineCounts) -> tuple[TroubleKind, str]:
    if counts.no_paths:
        return TroubleKind.GATEWAY_ALONE, (
            f"The gateway answers that it reaches nobody ({counts.no_paths} times): look at its serial "
            "side, its wires, baud rate and parity, and at its table of units."
        )
    if counts.garbled:
        return TroubleKind.NO_GOOD_FRAME, _no_good_frame(counts)
    return TroubleKind.NOTHING_ANSWERS, _nothing(counts)


def _nothing(counts: LineCounts) -> str:
    asked = f"{counts.units_asked} address{'es' if counts.units_asked != 1 else ''}"
    if not counts.setting:
        return (
            f"Nothing at all came back from {asked}. Look at the unit number (a drive with a network port "
            "of its own often has 1 or 255), at the kind (tcp or rtu_over_tcp), and, behind a gateway, at "
            "its serial wires, baud rate and parity."
        )
    nothing = f"Nothing but {counts.bytes_heard} stray bytes" if counts.bytes_heard else "Nothing at all"
    return (
        f"{nothing} came back from {asked} at {counts.setting}. In this order: are the drives "
        "switched on, and is their bus switched on and set to Modbus RTU at the panel? Are the two wires "
        "the wrong way round (makers disagree on which is A and which is B: swapping them does no harm)? "
        "Is the baud rate or the parity another one? Is the cable at the right "
        "terminals, and the common wire connected?"
    )


def _no_good_frame(counts: LineCounts) -> str:
    where = f" at {counts.setting}" if counts.setting else ""
    return (
        f"{counts.bytes_heard} bytes came back{where}, but never a sound answer (units "
        f"{_named(counts.garbled)}). First the baud rate and the parity: try --all-settings, or the setting "
        "that the drive's panel shows. Then the wires: both of one pair, termination at both ends and "
        "nowhere else, the common wire; and whether something else than Modbus RTU is spoken here."
    )


def _is_garbled_alone(counts: LineCounts) -> bool:
    """Return whether one address is always garbled while others answer, or while it alone was heard."""
    others_are_sound = bool(set(counts.answering) - set(counts.garbled))
    return bool(counts.garbled) and (others_are_sound or len(counts.garbled) == 1 < counts.units_asked)


def _twice(counts: LineCounts) -> str:
    if counts.twice:
        return (
            f"Two answers came to one request ({_units(counts.twice)}): two drives have this address, or "
            "something on the line repeats answers. Switch one drive off and ask again; give each its own."
        )
    return (
        f"Only the answers of {_units(counts.garbled)} are garbled: two drives may have this address and "
        "answer at one time. Switch one of them off and ask again; if it is alone there, look at its own "
        "wires."
    )


def _damage(counts: LineCounts) -> Iterator[tuple[TroubleKind, str]]:
    short, long = counts.short, counts.long
    damaged, answers = short.damaged + long.damaged, short.sound + long.sound
    if long.damaged >= LEAST_DAMAGED and long.share >= max(DAMAGED_SHARE, MUCH_WORSE * short.share):
        yield (
            TroubleKind.LONG_FRAMES_DAMAGED,
            (
                f"Long answers are damaged ({long.damaged} of {long.sound + long.damaged}), short ones "
                f"hardly ({short.damaged} of {short.sound + short.damaged}): reflections or noise. Look for "
                "termination of 120 ohms at both ends of the cable and nowhere else, bias at one place, "
                "long stubs, a shield earthed at one end, motor cables alongside. Until then read fewer "
                "registers at once."
            ),
        )
    elif damaged >= LEAST_DAMAGED and damaged / (damaged + answers) >= NOTABLE_SHARE:
        yield (
            TroubleKind.FRAMES_DAMAGED,
            (
                f"{damaged} of {damaged + answers} answers were damaged, short ones too: look at "
                "termination, bias and the common wire, at loose terminals, and whether another master "
                f"speaks on this line.{_nothing_but_damage(counts)}"
            ),
        )


def _nothing_but_damage(counts: LineCounts) -> str:
    if not counts.garbled or counts.twice:
        return ""
    return (
        f" Of {_units(counts.garbled)} hardly anything else came: ask again once the others are sound; if "
        "it stays so, nobody or two drives may have that address."
    )


def _late(counts: LineCounts) -> str:
    late = ", ".join(f"unit {unit} answers late ({1000 * late_s:.0f} ms)" for unit, late_s in counts.late)
    longest_s = max(late_s for _, late_s in counts.late)
    return (
        f"{late[0].upper()}{late[1:]}, after the time-out of {1000 * counts.timeout_s:.0f} ms: raise "
        f"--timeout to {_enough_s(longest_s):g} s or more, and write the longer time into the site file."
    )


def _enough_s(late_s: float) -> float:
    """Return twice the time, in whole tenths [s]."""
    return math.ceil(20 * late_s) / 10


def _losing(counts: LineCounts) -> str:
    lost = ", ".join(f"unit {unit}: {silent} of {asked}" for unit, (silent, asked) in counts.losing)
    return (
        f"Answers are missing now and then, to reads that were answered at other times ({lost}): loose "
        "terminals or wires, a drive that is busy or restarts, or another master. Others may have been "
        "missed: --thorough asks who is silent twice more."
    )


def _refusing(counts: LineCounts) -> str:
    return (
        f"{_units(counts.refusing).capitalize()} refused {PLACES_WORDS}: the wires are right, the addresses "
        "are not. Take them from its manual (they may count from 1, or begin elsewhere), or the drive may "
        "need its bus access released at the panel."
    )


def _units(units: Sequence[int]) -> str:
    return f"unit{'s' if len(units) != 1 else ''} {_named(units)}"


def _named(units: Sequence[int]) -> str:
    shown = ", ".join(map(str, units[:8]))
    return shown + (f" and {len(units) - 8} more" if len(units) > 8 else "")
