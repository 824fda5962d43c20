"""``owncurve commission``: a pump's first-day sheet as text, and the acceptance of its learned curve."""

from __future__ import annotations

import argparse
import json
import textwrap
from typing import TYPE_CHECKING

from api.commands import OK, Refusal
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from collector.site import Pump
    from dashboards.handover_views import HandoverPage

SUMMARY = "print a pump's first-day sheet: plates, control, provenance, own curve; accept the learned curve"
EXAMPLE = "owncurve commission P01 --accept-baseline --role engineer"
_WIDTH = 100
_LABEL = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``commission``."""
    parser.add_argument("pump", metavar="PUMP", help="the pump's name in the site file")
    add_site_argument(parser, clock=True)
    parser.add_argument(
        "--accept-baseline",
        action="store_true",
        help="record that its learned curve is right, once it is full",
    )
    parser.add_argument("--role", default="engineer", metavar="ROLE", help="who accepts it (engineer)")
    parser.add_argument(
        "--note", default="", metavar="WORDS", help="a line of your own, with --accept-baseline"
    )
    parser.add_argument("--json", action="store_true", help="print JSON in SI units")


def run(arguments: argparse.Namespace) -> int:
    """Accept the curve if that is asked for, and print the sheet."""
    if arguments.note and not arguments.accept_baseline:
        raise Refusal("--note needs --accept-baseline: it is kept with the acceptance")
    with opened_source(arguments, to_read=not arguments.accept_baseline) as source:
        must_be_a_pump(source, arguments.pump)
        from api.answers.commissioning import accept_baseline, handover_page, plain_handover
        from api.answers.mistakes import FieldMistakes

        pump = source.site.pump(arguments.pump)
        if arguments.accept_baseline:
            try:
                accept_baseline(source, pump, role=arguments.role, note=arguments.note)
            except FieldMistakes as mistakes:
                raise Refusal(mistakes.as_options()) from mistakes
        if arguments.json:
            print(json.dumps(plain_handover(source, pump), indent=2, allow_nan=False))
        else:
            print(_sheet(pump, handover_page(source, pump)))
    return OK


def _sheet(pump: Pump, page: HandoverPage) -> str:
    from dashboards.wording.cautions import ALWAYS, CAUTIONS
    from dashboards.wording.handover import CAUTIONS as FIRST
    from dashboards.wording.handover import sections

    blocks = [f"{pump.name}: handover ({page.frame.site_name})"]
    for section in sections(page):
        if section.lines:
            lines = "\n".join(_line(line.label, line.words) for line in section.lines)
            blocks.append(f"{section.title}\n{lines}")
    cautions = [*(CAUTIONS[code] for code in FIRST), ALWAYS]
    blocks.append(
        "Before hands go near it\n" + "\n".join(_wrapped(words, "  ! ", "    ") for words in cautions)
    )
    return "\n\n".join(blocks).replace("\N{NO-BREAK SPACE}", " ")


def _line(label: str, words: str) -> str:
    return _wrapped(words or "(not stated)", f"  {label:<{_LABEL}}", " " * (_LABEL + 2))


def _wrapped(words: str, first: str, rest: str) -> str:
    return textwrap.fill(words, _WIDTH, initial_indent=first, subsequent_indent=rest)
