"""``owncurve service``: what was done to a pump, by whom and when."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from api.commands import OK, Refusal
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source
    from api.store.service_events import ServiceRecord
    from collector.site import Pump

SUMMARY = "record work on a pump, or list what was recorded; only this can start a new baseline"
EXAMPLE = 'owncurve service P01 --what impeller_changed --at 2026-10-12T14:00 --new-baseline --note "trimmed"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``service``."""
    parser.add_argument("pump", metavar="PUMP", help="the pump's name in the site file")
    add_site_argument(parser, clock=True)
    parser.add_argument(
        "--what", metavar="WORK", help="what was done: vented, strainer_cleaned, impeller_changed, ..."
    )
    parser.add_argument(
        "--at", metavar="TIME", help="when it was done, ISO 8601; without an offset it is the site's time"
    )
    parser.add_argument(
        "--new-baseline",
        action="store_true",
        help="the pump is another one now: learn a new curve from here on (impeller, rings, seal, fluid, "
        "rebalancing)",
    )
    parser.add_argument("--note", default="", metavar="WORDS", help="a line of your own")
    parser.add_argument("--role", default="technician", metavar="ROLE", help="who says so (technician)")
    parser.add_argument("--json", action="store_true", help="print the pump's service log as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Record an event if one is named, and print it; else print the log."""
    with opened_source(arguments) as source:
        must_be_a_pump(source, arguments.pump)
        pump = source.site.pump(arguments.pump)
        _must_be_whole(arguments)
        recorded = _record(source, pump, arguments) if arguments.what else None
        if arguments.json:
            print(_as_json(source, pump))
        else:
            print(_told(source, pump, recorded) if recorded else _log(source, pump))
    return OK


def _must_be_whole(arguments: argparse.Namespace) -> None:
    _must_be_known(arguments.what)
    if arguments.what and arguments.at is None:
        raise Refusal("--what needs --at: when the work was done, such as --at 2026-10-12T14:00")
    beside = {"--at": arguments.at, "--new-baseline": arguments.new_baseline, "--note": arguments.note}
    alone = next((name for name, value in beside.items() if value), None)
    if alone and not arguments.what:
        raise Refusal(f"{alone} needs --what: which work was done")


def _must_be_known(what: str | None) -> None:
    from api.answers.mistakes import FieldMistakes
    from api.answers.service_log import must_be_work

    if what is not None:
        try:
            must_be_work(what)
        except FieldMistakes as mistakes:
            raise Refusal(mistakes.as_options()) from mistakes


def _record(source: Source, pump: Pump, arguments: argparse.Namespace) -> ServiceRecord:
    from api.answers.mistakes import FieldMistakes
    from api.answers.service_log import record_work

    try:
        return record_work(
            source,
            pump,
            what=arguments.what,
            at=arguments.at,
            new_baseline=arguments.new_baseline,
            role=arguments.role,
            note=arguments.note,
        )
    except FieldMistakes as mistakes:
        raise Refusal(mistakes.as_options()) from mistakes


def _as_json(source: Source, pump: Pump) -> str:
    from api.answers.service_log import plain_log

    return json.dumps(plain_log(source, pump), indent=2, allow_nan=False)


def _log(source: Source, pump: Pump) -> str:
    log = source.api_store.service_log(pump.name)
    return "\n".join(_line(source, record) for record in log) or f"{pump.name}: no work was recorded"


def _told(source: Source, pump: Pump, record: ServiceRecord) -> str:
    then = (
        "a new curve is learned from the next whole hour on, and nothing before it counts"
        if record.event.new_baseline
        else "its curve stays as it was"
    )
    return f"{pump.name}: {_line(source, record)}; {then}"


def _line(source: Source, record: ServiceRecord) -> str:
    from dashboards.moments import clock_words
    from dashboards.wording import plain
    from dashboards.wording.terms import ROLES, SERVICES

    event = record.event
    what = SERVICES.get(event.kind, plain(event.kind))
    baseline = ", new baseline" if event.new_baseline else ""
    by = ROLES.get(record.by_role, record.by_role).lower()
    note = f": {record.note}" if record.note else ""
    return f"{clock_words(event.time_utc_ms, source.site.time_zone)}, {what}{baseline} ({by}){note}"
