"""``owncurve field-check``: gauges, a strap-on flow meter or a shutoff test beside what the drive says."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from api.commands import OK, Refusal
from api.commands.saying import say
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source
from dashboards.wording.field_check_fields import FIELDS

if TYPE_CHECKING:
    from api.answers.source import Source
    from collector.site import Pump
    from dashboards.field_check_views import FieldCheckView

SUMMARY = "hold gauges, a strap-on flow meter or a shutoff test against a pump, and say what they tell"
EXAMPLE = (
    'owncurve field-check P01 --suction "12 psi" --discharge "31.5 psi" --suction-height "0.4 m" '
    '--discharge-height "1.1 m" --suction-pipe "4.026 in" --discharge-pipe "3.068 in" --span "60 psi" '
    '--one-gauge --flow "142 gpm"'
)
_TICKS: Final = ("one_gauge", "shutoff")
_ASKED_AT_DUTY: Final = (
    "suction", "discharge", "suction_height", "discharge_height", "suction_pipe", "discharge_pipe", "span",
    "flow",
)  # fmt: skip
_ASKED_AT_SHUTOFF: Final = ("suction", "discharge", "suction_height", "discharge_height", "span")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``field-check``."""
    parser.add_argument("pump", metavar="PUMP", help="the pump's name in the site file")
    add_site_argument(parser, clock=True)
    for name, words in FIELDS.items():
        option = f"--{name.replace('_', '-')}"
        told = f"{words.label[0].lower()}{words.label[1:]}" + (f": {words.hint}" if words.hint else "")
        if name in _TICKS:
            parser.add_argument(option, action="store_const", const="yes", default="", help=_escaped(told))
        else:
            parser.add_argument(option, default="", metavar=words.metavar, help=_escaped(told))
    parser.add_argument("--list", action="store_true", help="print the pump's field checks and record none")
    parser.add_argument("--json", action="store_true", help="print JSON")


def _escaped(words: str) -> str:
    return words.replace("%", "%%")


def run(arguments: argparse.Namespace) -> int:
    """Record a check and say what it tells, or list those recorded."""
    with opened_source(arguments) as source:
        must_be_a_pump(source, arguments.pump)
        pump = source.site.pump(arguments.pump)
        if arguments.list:
            _must_be_alone(arguments)
            _print_all(source, pump, as_json=arguments.json)
            return OK
        view = _recorded(source, pump, _typed(arguments, pump))
        print(_as_json(pump, [view])[0] if arguments.json else _told(source, pump, view))
    return OK


def _must_be_alone(arguments: argparse.Namespace) -> None:
    beside = next((name for name in FIELDS if getattr(arguments, name)), None)
    if beside:
        raise Refusal(f"--list records nothing, so --{beside.replace('_', '-')} does not go with it")


def _typed(arguments: argparse.Namespace, pump: Pump) -> dict[str, str]:
    """Return what was typed, with what is missing asked for where a person sits at the terminal."""
    values = {name: str(getattr(arguments, name)) for name in FIELDS}
    is_shutoff = bool(values["shutoff"])
    _say_cautions(is_shutoff=is_shutoff)
    # One who typed a flow alone means no gauges.
    has_enough = bool(values["flow"]) and not (values["suction"] or values["discharge"])
    if sys.stdin.isatty() and not has_enough:
        from api.answers.field_check_typed import known_of_taps

        values |= {name: text for name, text in known_of_taps(pump).items() if not values[name]}
        for name in _ASKED_AT_SHUTOFF if is_shutoff else _ASKED_AT_DUTY:
            values[name] = values[name] or _asked(name)
    return values


def _say_cautions(*, is_shutoff: bool) -> None:
    from dashboards.wording.cautions import ALWAYS, CAUTIONS
    from dashboards.wording.field_checks import CAUTIONS_OF_GAUGES, CAUTIONS_OF_SHUTOFF

    for code in (*(CAUTIONS_OF_SHUTOFF if is_shutoff else ()), *CAUTIONS_OF_GAUGES):
        say(CAUTIONS[code])
    say(ALWAYS)


def _asked(name: str) -> str:
    words = FIELDS[name]
    print(f"{words.label}, {words.hint} (nothing to leave out): ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip()


def _recorded(source: Source, pump: Pump, values: Mapping[str, str]) -> FieldCheckView:
    from api.answers.field_checks import record_field_check
    from api.answers.mistakes import FieldMistakes

    try:
        return record_field_check(source, pump, values)
    except FieldMistakes as mistakes:
        raise Refusal(mistakes.as_options()) from mistakes


def _print_all(source: Source, pump: Pump, *, as_json: bool) -> None:
    from api.answers.field_check_results import field_check_views

    views = field_check_views(source, pump)
    if as_json:
        print(f"[{', '.join(_as_json(pump, views))}]")
    else:
        print("\n\n".join(_told(source, pump, view) for view in views) or f"{pump.name}: no field check yet")


def _as_json(pump: Pump, views: list[FieldCheckView] | tuple[FieldCheckView, ...]) -> list[str]:
    from api.answers.field_checks import plain_field_check

    return [json.dumps(plain_field_check(pump, view), indent=2, allow_nan=False) for view in views]


def _told(source: Source, pump: Pump, view: FieldCheckView) -> str:
    from dashboards.moments import clock_words
    from dashboards.wording.field_checks import NEXT, sentences
    from dashboards.wording.terms import ROLES

    at = clock_words(view.at_utc_ms, source.site.time_zone)
    by = ROLES.get(view.by_role, view.by_role).lower()
    stands = f"; corrected by {view.corrected_by}" if view.corrected_by else ""
    first = f"{pump.name}: field check {view.check_id}, {at} ({by}){stands}"
    lines = [f"  {line}" for line in sentences(view, source.site.units)]
    return "\n".join([first, *lines, *(f"  Next: {NEXT[code]}" for code in view.checks)])
