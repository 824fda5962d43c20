"""What a document is, told by its content and never by its name; and the name it is saved under."""

from __future__ import annotations

import unicodedata
from typing import Final

LARGEST_MB: Final = 20
LARGEST_BYTES: Final = LARGEST_MB * 1_000_000
"""A scanned manual of some hundred pages (our own choice): all of it stands in the site's database."""
LONGEST_TITLE: Final = 100
_ENDINGS: Final = {"application/pdf": ".pdf", "image/png": ".png", "image/jpeg": ".jpg"}
# PDF: ISO 32000-1, 7.5.2 and 7.5.5; PNG: ISO/IEC 15948, 5.2 and 11.2.5; JPEG: ITU-T T.81, B.1.1.3 (all
# from memory).
_PDF_START: Final = b"%PDF-"
_PDF_END: Final = b"%%EOF"
_PNG_START: Final = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"
_PNG_END: Final = b"IEND\xaeB`\x82"
_JPEG_START: Final = b"\xff\xd8\xff"
_JPEG_END: Final = b"\xff\xd9"
_LAST: Final = 2_048
"""A PDF's end mark stands among its last bytes; some programs write a little after it."""


def media_type_of(content: bytes) -> str:
    """Return what a document is.

    Raises
    ------
    ValueError
        In words that go after the field's name, when it is too large or none of those that are kept.

    >>> media_type_of(b"%PDF-1.7 ... %%EOF")
    'application/pdf'
    """
    if not content:
        raise ValueError("is empty; expected a PDF, PNG or JPEG")
    if len(content) > LARGEST_BYTES:
        raise ValueError(f"has {len(content) / 1e6:.1f} MB; at most {LARGEST_MB} MB are kept of a document")
    if content.startswith(_PDF_START):
        return _whole("application/pdf", is_whole=_PDF_END in content[-_LAST:])
    if content.startswith(_PNG_START):
        return _whole("image/png", is_whole=_PNG_END in content[-_LAST:])
    if content.startswith(_JPEG_START):
        return _whole("image/jpeg", is_whole=_JPEG_END in content)
    raise ValueError("is no PDF, PNG or JPEG: its content says so, whatever its name is")


def _whole(media_type: str, *, is_whole: bool) -> str:
    if not is_whole:
        raise ValueError(f"breaks off: it begins as a {_ENDINGS[media_type][1:].upper()} and has no end")
    return media_type


def title_of(typed: str, file_name: str) -> str:
    r"""Return the title that was typed, else the file's own name without its folders and ending.

    >>> title_of("", "C:\\scans\\pump manual.pdf"), title_of("Manual", "x.pdf")
    ('pump manual', 'Manual')
    """
    if typed:
        return typed
    name = file_name.replace("\\", "/").rsplit("/", 1)[-1]
    stem = name.rsplit(".", 1)[0].strip() or name.strip()
    shown = "".join(letter for letter in stem if unicodedata.category(letter)[0] != "C").strip()
    return shown[:LONGEST_TITLE] or "document"


def saved_name(title: str, media_type: str) -> str:
    """Return a file name that is no path and hides no ending, whatever the title is.

    >>> saved_name("../../etc/passwd", "application/pdf"), saved_name("Pump 1", "image/jpeg")
    ('etc_passwd.pdf', 'Pump 1.jpg')
    """
    kept = "".join(letter if letter.isalnum() or letter in " -_()" else "_" for letter in title)
    return (kept.strip(" _")[:LONGEST_TITLE] or "document") + _ENDINGS[media_type]
