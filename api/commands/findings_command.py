"""``owncurve findings``: what was found, for people and programs."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from api.commands import OK
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source

SUMMARY = "list the findings of a site, what needs attention first"
EXAMPLE = "owncurve findings --site site.toml --json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``findings``."""
    add_site_argument(parser)
    parser.add_argument("--pump", default=None, metavar="NAME", help="of this pump alone")
    parser.add_argument("--active", action="store_true", help="only what stands now")
    parser.add_argument("--json", action="store_true", help="print all that is known of each, as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Print the findings."""
    with opened_source(arguments) as source:
        must_be_a_pump(source, arguments.pump)
        print(_as_json(source, arguments) if arguments.json else _as_text(source, arguments))
    return OK


def _as_json(source: Source, arguments: argparse.Namespace) -> str:
    from api.answers.findings import listed_findings
    from api.store.stored_finding import State

    states = [State.ACTIVE] if arguments.active else None
    return json.dumps(listed_findings(source, arguments.pump, states), indent=2, allow_nan=False)


def _as_text(source: Source, arguments: argparse.Namespace) -> str:
    from api.answers.findings import card, worst_first
    from api.answers.pump_row import pump_row
    from api.answers.right_now import right_now
    from api.store.stored_finding import State
    from dashboards.pages.attention import headline
    from dashboards.wording.sentences import effect_sentence, title
    from dashboards.wording.telling import next_steps, reasons

    states = [State.ACTIVE] if arguments.active else [State.ACTIVE, State.RETURNED_TO_NORMAL]
    stored = worst_first(source.api_store.findings(arguments.pump, states))
    now = source.clock.now_utc_ms()
    pumps = [pump for pump in source.site.pumps if arguments.pump in (None, pump.name)]
    # The first line is that of the site's page: an empty list alone would read as "all is well".
    lines = [headline([pump_row(source, pump) for pump in pumps])]
    for item in stored:
        pump = source.pump(item.finding.pump)
        shown = card(item, source.facts(pump) if pump else None, now=right_now(source, item))
        state = "now" if item.state is State.ACTIVE else "over"
        sentence = effect_sentence(shown, source.site.time_zone, now)
        lines.append(f"{shown.pump}: {title(shown)} ({shown.priority}, {state}). {sentence}")
        lines += [f"  {words}" for words in reasons(shown)]
        if item.state is State.ACTIVE:
            lines += [f"  {words}" for words in next_steps(shown)]
    return "\n".join(lines)
