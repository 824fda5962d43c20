"""A limit on findings leaves out the least pressing, never the most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.answers.findings import listed_findings

if TYPE_CHECKING:
    from api.answers.source import Source


def test_the_most_pressing_finding_is_the_last_to_be_left_out(analysed: Source) -> None:
    every = listed_findings(analysed)["findings"]
    assert len(every) > 1
    assert listed_findings(analysed, limit=1)["findings"] == every[:1]
