"""``owncurve service``: what was done to a pump, by whom and when, and what it did."""

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
    from dashboards.service_views import ServiceEntry

SUMMARY = "record work on a pump, or list it with what it did; only this can start a new baseline"
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
    parser.add_argument(
        "--finding", default="", metavar="NUMBER", help="the finding that it answers, if not told by its time"
    )
    parser.add_argument("--take-back", metavar="NUMBER", help="take a mistaken entry back; --note says why")
    parser.add_argument("--note", default="", metavar="WORDS", help="a line of your own")
    parser.add_argument("--role", default="technician", metavar="ROLE", help="who says so (technician)")
    parser.add_argument("--json", action="store_true", help="print the pump's service log as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Record an event if one is named, or take one back, and print it; else print the log."""
    with opened_source(arguments) as source:
        must_be_a_pump(source, arguments.pump)
        pump = source.site.pump(arguments.pump)
        _must_be_whole(arguments)
        recorded = _changed(source, pump, arguments)
        if arguments.json:
            print(_as_json(source, pump))
        else:
            print(_told(source, pump, recorded) if recorded else _log(source, pump))
    return OK


def _must_be_whole(arguments: argparse.Namespace) -> None:
    _must_be_known(arguments.what)
    if arguments.what and arguments.take_back:
        raise Refusal("--take-back takes an entry back and --what records one; give one of them")
    if arguments.what and arguments.at is None:
        raise Refusal("--what needs --at: when the work was done, such as --at 2026-10-12T14:00")
    beside = {"--at": arguments.at, "--new-baseline": arguments.new_baseline, "--finding": arguments.finding}
    if not arguments.take_back:
        beside["--note"] = arguments.note
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


def _changed(source: Source, pump: Pump, arguments: argparse.Namespace) -> ServiceRecord | None:
    from api.answers.mistakes import FieldMistakes

    try:
        if arguments.take_back:
            return _taken_back(source, pump, arguments)
        return _recorded(source, pump, arguments) if arguments.what else None
    except FieldMistakes as mistakes:
        raise Refusal(mistakes.as_options(OPTIONS)) from mistakes


OPTIONS = {"why": "note", "back_role": "role", "number": "take-back"}
"""Options that are called otherwise than the fields of the form."""


def _taken_back(source: Source, pump: Pump, arguments: argparse.Namespace) -> ServiceRecord:
    from api.answers.service_log import take_back

    return take_back(source, pump, number=arguments.take_back, role=arguments.role, note=arguments.note)


def _recorded(source: Source, pump: Pump, arguments: argparse.Namespace) -> ServiceRecord:
    from api.answers.service_log import record_work

    return record_work(
        source,
        pump,
        what=arguments.what,
        at=arguments.at,
        new_baseline=arguments.new_baseline,
        role=arguments.role,
        note=arguments.note,
        finding=arguments.finding,
    )


def _as_json(source: Source, pump: Pump) -> str:
    from api.answers.service_log import plain_log

    return json.dumps(plain_log(source, pump), indent=2, allow_nan=False)


def _log(source: Source, pump: Pump) -> str:
    from api.answers.service_log import entries

    lines = [line for entry in entries(source, pump) for line in _with_effect(source, entry)]
    return "\n".join(lines) or f"{pump.name}: no work was recorded"


def _with_effect(source: Source, entry: ServiceEntry) -> list[str]:
    from dashboards.wording.repairs import effect_sentence, energy_sentence, next_sentence, verdict_sentence

    zone, now = source.site.time_zone, source.clock.now_utc_ms()
    lines = [_line(source, entry)]
    if entry.taken_back is not None:
        return [*lines, f"    taken back by the {entry.taken_back.by_role}: {entry.taken_back.note}"]
    if entry.effect is not None:
        lines += [f"    {verdict_sentence(each, zone, now)}" for each in entry.effect.answered]
        effect, units = entry.effect, source.site.units
        told = [effect_sentence(effect, units), energy_sentence(effect, units)]
        told += [next_sentence(each) for each in effect.answered]
        lines += [f"    {sentence}" for sentence in told if sentence]
    return lines


def _told(source: Source, pump: Pump, record: ServiceRecord) -> str:
    from api.answers.service_log import entry_of

    if record.withdraws is not None:
        entry = entry_of(source, pump, record.withdraws)
        return f"{pump.name}: taken back: {_line(source, entry)}; it stays in the log and no longer holds"
    then = (
        "a new curve is learned from the next whole hour on, and nothing before it counts"
        if record.event.new_baseline
        else "its curve stays as it was"
    )
    return f"{pump.name}: {_line(source, entry_of(source, pump, record.event_id))}; {then}"


def _line(source: Source, entry: ServiceEntry) -> str:
    from dashboards.moments import clock_words
    from dashboards.wording import plain
    from dashboards.wording.terms import ROLES, SERVICES

    what = SERVICES.get(entry.kind, plain(entry.kind))
    baseline = ", new baseline" if entry.new_baseline else ""
    by = ROLES.get(entry.by_role, entry.by_role).lower()
    note = f": {entry.note}" if entry.note else ""
    at = clock_words(entry.time_utc_ms, source.site.time_zone)
    return f"{entry.number}. {at}, {what}{baseline} ({by}){note}"
