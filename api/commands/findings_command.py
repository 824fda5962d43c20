"""``owncurve findings``: what was found, for people and programs."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from api.commands import OK
from api.commands.site_source import add_site_argument, left_words, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source
    from collector.site import Pump
    from dashboards.views import FindingCard

SUMMARY = "list the findings of a site, what needs attention first"
EXAMPLE = "owncurve findings --site site.toml --json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``findings``."""
    add_site_argument(parser, clock=True)
    parser.add_argument("--pump", default=None, metavar="NAME", help="of this pump alone")
    parser.add_argument("--active", action="store_true", help="only what stands now")
    parser.add_argument("--json", action="store_true", help="print all that is known of each, as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Print the findings."""
    with opened_source(arguments, to_read=True) as source:
        must_be_a_pump(source, arguments.pump)
        print(_as_json(source, arguments) if arguments.json else _as_text(source, arguments))
    return OK


def _as_json(source: Source, arguments: argparse.Namespace) -> str:
    from api.answers.findings import listed_findings
    from api.store.stored_finding import State

    states = [State.ACTIVE] if arguments.active else None
    return json.dumps(listed_findings(source, arguments.pump, states), indent=2, allow_nan=False)


def _as_text(source: Source, arguments: argparse.Namespace) -> str:
    from api.answers.findings import current_card, pumps_left, worst_first
    from api.answers.pump_row import pump_row
    from api.store.stored_finding import State
    from dashboards.pages.attention import headline

    states = [State.ACTIVE] if arguments.active else [State.ACTIVE, State.RETURNED_TO_NORMAL]
    stored = source.api_store.findings(arguments.pump, states)
    pumps = [pump for pump in source.site.pumps if arguments.pump in (None, pump.name)]
    rows = [pump_row(source, pump) for pump in pumps]
    # The first line is that of the site's page: an empty list alone would read as "all is well".
    lines = [headline(rows), *(f"{row.analysis_failure}." for row in rows if row.analysis_failure)]
    for item in worst_first(stored):
        pump = source.pump(item.finding.pump)
        if pump is not None:
            lines += _told(source, current_card(source, item, source.facts(pump)))
    lines += _unwatched(source, pumps)
    lines += [left_words(name) for name in pumps_left(stored, source)]
    return "\n".join(lines)


def _unwatched(source: Source, pumps: Sequence[Pump]) -> list[str]:
    """Return what pumps are not watched for: a line for all pumps of which the same is said."""
    from api.answers.unwatched import unwatched
    from dashboards.display import listed
    from dashboards.wording.unwatched import unwatched_sentence

    same: dict[str, list[str]] = {}
    for pump in pumps:
        for item in unwatched(source, pump):
            same.setdefault(unwatched_sentence(item), []).append(pump.name)
    every = f"All {len(pumps)} pumps"
    return [
        f"{every if len(names) == len(pumps) > 1 else listed(names)}: {sentence}"
        for sentence, names in same.items()
    ]


def _told(source: Source, card: FindingCard) -> list[str]:
    from dashboards.wording.sentences import effect_sentence, title
    from dashboards.wording.telling import next_steps, reasons

    sentence = effect_sentence(card, source.site.time_zone, source.clock.now_utc_ms())
    told = [f"{card.pump}: {title(card)} ({card.priority}, {_when(source, card)}). {sentence}"]
    told += [f"  {words}" for words in reasons(card)]
    if card.state == "active":
        told += [f"  {words}" for words in next_steps(card)]
    return told


def _when(source: Source, card: FindingCard) -> str:
    """Return whether a finding stands now, stood when the readings ended, or is over."""
    from dashboards.moments import day_words

    if card.state != "active":
        return "over"
    if card.as_of_utc_ms is None:
        return "now"
    return f"as of {day_words(card.as_of_utc_ms, source.site.time_zone, source.clock.now_utc_ms())}"
