"""What an operating system makes of a receiver's characters before a program reads them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from simulator.lines.uart import Character

_MARK: Final = 0xFF


def handed_over(characters: Iterable[Character], checks: bool = False, marks: bool = False) -> bytes:
    """Return the bytes that a program reads (the rules of POSIX for INPCK and PARMRK, from memory).

    Without ``checks`` (INPCK) bad characters look like good ones. With them a bad one reads as 0, or with
    ``marks`` (PARMRK) as 255, 0 and what came; a good 255 is then doubled. A break is marked 255, 0, 0.

    >>> handed_over([Character(0x41, 0.1), Character(0xFF, 0.2)], checks=True, marks=True).hex(" ")
    '41 ff ff'
    >>> handed_over([Character(0x41, 0.1, parity_error=True)], checks=True, marks=True).hex(" ")
    'ff 00 41'
    """
    return b"".join(_bytes_of(character, checks, marks) for character in characters)


def _bytes_of(character: Character, checks: bool, marks: bool) -> bytes:
    is_bad = checks and (character.parity_error or character.framing_error)
    if is_bad:
        return bytes([_MARK, 0, character.byte]) if marks else b"\0"
    if marks and character.byte == _MARK:
        return bytes([_MARK, _MARK])
    return bytes([character.byte])
