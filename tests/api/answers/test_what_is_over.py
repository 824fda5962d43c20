"""What went away by itself stays on the first page until somebody has acknowledged it."""

from __future__ import annotations

from api.answers.pages import site_page
from api.answers.source import Source
from api.store.stored_finding import State
from dashboards.pages.attention import over_unseen

PUMP = "Lap <b>pool</b> 2"


def end_all(source: Source) -> list[int]:
    """End every standing finding, as the next analysis does with those that have gone."""
    standing = [item.finding_id for item in source.api_store.findings(PUMP, [State.ACTIVE])]
    with source.api_store.write() as connection:
        connection.exec_driver_sql("UPDATE finding SET state = 'returned_to_normal'")
    return standing


def test_a_finding_that_went_away_is_over_and_unseen_until_it_is_acknowledged(analysed: Source) -> None:
    [loss] = end_all(analysed)
    page = site_page(analysed)
    assert [card.identity for card in over_unseen(page.over, page.frame.data_as_of_utc_ms)] == [loss]
    analysed.api_store.acknowledge(loss, 1, "engineer")
    page = site_page(analysed)
    assert over_unseen(page.over, page.frame.data_as_of_utc_ms) == []
    assert [card.identity for card in page.over if card.pump == PUMP] == [loss]
