"""Words for a pump's documents."""

from __future__ import annotations

from typing import Final

from dashboards.display import BOUND, number

KINDS: Final = {
    "manual": "Manual",
    "submittal": "Submittal",
    "start_up_sheet": "Start-up sheet",
    "photo": "Photo",
    "other": "Other",
}
MEDIA: Final = {"application/pdf": "PDF", "image/png": "PNG", "image/jpeg": "JPEG"}
TOLD: Final = {
    "added": "It is kept.",
    "same": "It was here already: the same content is kept once, under its first title.",
    "removed": "It is removed for good, its title and its bytes.",
    "removed_here": "It is removed here. Another pump keeps the same document: remove it there too.",
    "removed_soon": (
        "It is removed. The database's log of writes may still hold its bytes, since somebody is reading: "
        "they go once nobody is."
    ),
}
"""What a page says after a change, by the code that its address carries."""


def size_words(size_bytes: int) -> str:
    r"""Return the size of a file.

    >>> size_words(1_400_000), size_words(12_300), size_words(90)
    ('1.4\xa0MB', '12.3\xa0kB', '90\xa0bytes')
    """
    for least, unit in ((1_000_000, "MB"), (1_000, "kB")):
        if size_bytes >= least:
            return f"{number(size_bytes / least, 3, 1)}{BOUND}{unit}"
    return f"{size_bytes}{BOUND}bytes"
