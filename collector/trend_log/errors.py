"""What a person must change before a trend log can be taken."""

from __future__ import annotations


class TrendLogError(Exception):
    """The file or an option cannot be used; the message is one line. Nothing was imported."""

    def __init__(self, sentence: str) -> None:
        # A header in quotes may run over two lines; what is said of it may not.
        super().__init__(" ".join(sentence.splitlines()))
