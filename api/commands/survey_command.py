"""``owncurve survey``: find drives on a line or behind a gateway by reading only."""

from __future__ import annotations

import argparse
import json
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from api.commands import BUS_TROUBLE, INTERRUPTED, OK, Refusal
from api.commands.bus_place import KINDS, bus_at
from api.commands.keeping import keep
from api.commands.listening_first import add_listening, listen_first, refuse_too_short
from api.commands.progress import ProgressLine
from api.commands.saying import say
from api.commands.stopping import stop_at_ctrl_c

if TYPE_CHECKING:
    from collector.bus.line_setting import LineSetting
    from collector.listening import LinePicture
    from collector.site import Bus
    from collector.survey import Progress, SettingSurvey, SurveyPlan

SUMMARY = (
    "find the drives on a serial line or behind a gateway by reading only, and what is wrong with the wires"
)
EXAMPLE = 'owncurve survey /dev/serial/by-id/usb-adapter --line "19200 8E1" --units 1-32 --write site.toml'
TIMEOUT_S: Final = 0.5
STANDARD: Final = "19200 8E1"
"""The setting that every device on a line must have (serial line specification V1.02, 2.5.1, from memory)."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``survey``."""
    parser.add_argument("place", metavar="PORT-or-HOST", help="the adapter (owncurve ports), or HOST[:PORT]")
    parser.add_argument("--kind", choices=KINDS, help="needed for a host")
    setting = parser.add_mutually_exclusive_group()
    setting.add_argument(
        "--line", action="append", metavar='"19200 8E1"', help=f"may be repeated (default: {STANDARD})"
    )
    setting.add_argument("--all-settings", action="store_true", help="try the twenty usual ones")
    parser.add_argument("--units", default="1-247", help='"1-32" or "1,5,10-20" (default: 1-247)')
    parser.add_argument(
        "--timeout",
        type=float,
        default=TIMEOUT_S,
        help=f"for an answer's first byte [s] (default: {TIMEOUT_S:g})",
    )
    parser.add_argument(
        "--thorough", action="store_true", help="ask who is silent twice more; three times as long"
    )
    add_listening(parser)
    parser.add_argument(
        "--write", type=Path, metavar="SITE.toml", help="begin a site file with what was found"
    )
    parser.add_argument("--force", action="store_true", help="let --write replace a file")
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(arguments: argparse.Namespace) -> int:
    """Survey, and tell what was found; Ctrl-C ends early and still tells."""
    from api.commands.survey_words import CAUTION, as_json, as_text

    bus = _bus(arguments)
    plan = _plan(arguments)
    settings = _settings(arguments, bus)
    _refuse_to_replace(arguments)
    _refuse_absent(bus)
    say(CAUTION)
    with stop_at_ctrl_c() as stop:
        heard = _listened(arguments, stop) if bus.kind == "serial" else None
        if stop.is_set():
            say("stopped before anything was sent")
            return INTERRUPTED
        surveys = _surveyed(bus, settings or [_heard_setting(heard)], plan, stop)
    print(json.dumps(as_json(bus.place, bus.kind, surveys)) if arguments.json else as_text(surveys, plan))
    if arguments.write is not None:
        _write(arguments, bus, surveys)
    if stop.is_set():
        return INTERRUPTED
    is_well = any(survey.found for survey in surveys) and all(survey.is_complete for survey in surveys)
    return OK if is_well else BUS_TROUBLE


def _bus(arguments: argparse.Namespace) -> Bus:
    """Return the line or host to ask; a refusal when it is a file."""
    from collector.ports import why_no_port

    if arguments.kind in (None, "serial") and (trouble := why_no_port(arguments.place)):
        raise Refusal(trouble)
    return bus_at(arguments.place, arguments.kind, "survey")


def _refuse_absent(bus: Bus) -> None:
    """Say before anything is said of asking that the port is not there."""
    from collector.bus.links import why_not

    if bus.kind != "serial" or sys.platform == "win32":
        return
    try:
        os.stat(bus.place)
    except OSError as error:
        raise Refusal(f"{bus.place}: {why_not(bus.place, error)}", BUS_TROUBLE) from error


def _plan(arguments: argparse.Namespace) -> SurveyPlan:
    from collector.survey import SurveyPlan, parse_units

    if not 0.01 <= arguments.timeout <= 60:
        raise Refusal(f"--timeout should be from 0.01 to 60 s, not {arguments.timeout:g}")
    refuse_too_short(arguments)
    try:
        units = parse_units(arguments.units, is_network=arguments.kind == "tcp")
    except ValueError as error:
        raise Refusal(f"--units: {error}") from error
    return SurveyPlan(
        units=units,
        timeout_s=arguments.timeout,
        is_thorough=arguments.thorough,
        ends_at_another_master=not arguments.i_am_the_only_master,
    )


def _settings(arguments: argparse.Namespace, bus: Bus) -> list[LineSetting | None]:
    """Return the settings to try; none when it is left to what is heard, or to the standard."""
    from collector.bus.line_setting import parse_line_setting
    from collector.site.models import BAUDS
    from collector.survey import LIKELY_SETTINGS

    if bus.kind != "serial":
        if arguments.line or arguments.all_settings:
            raise Refusal("--line is of a serial port; the setting behind a gateway is set at the gateway")
        return [None]
    if arguments.all_settings:
        return list(LIKELY_SETTINGS)
    try:
        settings = [parse_line_setting(words) for words in arguments.line or ()]
    except ValueError as error:
        raise Refusal(f"--line: {error}") from error
    for setting in settings:
        if setting.baud not in BAUDS:
            raise Refusal(f"--line: speeds are {', '.join(map(str, BAUDS))} baud, not {setting.baud}")
    return list(dict.fromkeys(settings))


def _heard_setting(heard: LinePicture | None) -> LineSetting:
    from collector.bus.line_setting import parse_line_setting

    return heard.setting if heard is not None and heard.setting else parse_line_setting(STANDARD)


def _listened(arguments: argparse.Namespace, stop: threading.Event) -> LinePicture | None:
    """Listen for a master; a refusal when somebody speaks."""
    if not arguments.listen:
        return None
    return listen_first(
        arguments.place, arguments.listen, stop, is_only_master=arguments.i_am_the_only_master
    )


def _surveyed(
    bus: Bus, settings: list[LineSetting | None], plan: SurveyPlan, stop: threading.Event
) -> list[SettingSurvey]:
    from collector.survey import survey

    with ProgressLine() as line:
        surveys = list(survey(bus, settings, plan, stop, _shown_on(line)))
    lost = [each.link_trouble for each in surveys if each.link_trouble and not each.units_asked]
    if surveys and len(lost) == len(surveys):
        raise Refusal(lost[0], BUS_TROUBLE)
    return surveys


def _shown_on(line: ProgressLine) -> Callable[[Progress], None]:
    """Return what shows progress: the estimate once, to stay, and then each step on the line."""
    estimates: list[float] = []

    def show(progress: Progress) -> None:
        left = f"about {progress.left_s:.0f} s left"
        if not estimates:
            estimates.append(progress.left_s)
            line.say(f"asking; {left}, more for each drive that is found")
        line(f"{progress.words}; {progress.units_found} found; {left}")

    return show


def _refuse_to_replace(arguments: argparse.Namespace) -> None:
    """Say before minutes of asking that a file will not be written."""
    path = arguments.write
    if path is None:
        return
    if path.is_dir():
        raise Refusal(f"{path} is a folder; --write wants the name of a file")
    if path.exists() and not arguments.force:
        raise Refusal(f"{path}: is there already; --force replaces it, or choose another name")
    if not path.parent.is_dir():
        raise Refusal(f"{path}: there is no folder {path.parent}")


def _write(arguments: argparse.Namespace, bus: Bus, surveys: list[SettingSurvey]) -> None:
    from collector.ports import describe_port
    from collector.survey.site_draft import site_draft, time_zone_here

    path = arguments.write
    if bus.kind == "serial" and (adapter := describe_port(bus.place)) is not None:
        bus = bus.model_copy(update={"port": adapter.best_path})
    try:
        text = site_draft(bus, surveys, time_zone_here())
    except ValueError as error:
        say(f"{path}: not written: {error}")
        return
    keep(path, text, is_forced=arguments.force)
    say(f"{path}: written; fill in what is marked <-, then owncurve match finds the registers")
