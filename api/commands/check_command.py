"""``owncurve check``: prove each value of each pump, or name the line to change."""

from __future__ import annotations

import argparse
import json
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

from api.commands import BUS_TROUBLE, FAILED, INTERRUPTED, OK, Refusal, listening_first
from api.commands.progress import ProgressLine
from api.commands.saying import say
from api.commands.site_source import add_site_argument
from api.commands.stopping import stop_at_ctrl_c

if TYPE_CHECKING:
    from api.proving import Proof
    from api.proving.site_check import PumpCheck
    from collector.matching import PanelValue
    from collector.site import Bus, Pump, Site
    from collector.store import Store

SUMMARY = "read each pump of the site file and prove each value, or name the line to change"
EXAMPLE = 'owncurve check --site site.toml --pump "Pump 1" --panel "2610 rpm, 1180 W, 142 gpm, 27.5 ft"'
LONGEST_MINUTES: Final = 24 * 60.0
CAUTION: Final = (
    "this only reads, and only where nobody else is master of the line; a drive may start by itself, and the "
    "site's own practice decides what is done at a pump"
)
WIDTH: Final = 12


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``check``."""
    add_site_argument(parser)
    parser.add_argument("--pump", default=None, metavar="NAME", help="this pump alone")
    parser.add_argument(
        "--panel",
        default=None,
        metavar="TEXT",
        help="what this pump's panel shows now: the surest proof of a unit",
    )
    parser.add_argument(
        "--minutes", type=float, default=0.0, metavar="N", help="read on for so long (default: read once)"
    )
    parser.add_argument(
        "--i-am-the-only-master", action="store_true", help="ask at once, without listening for a master"
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(arguments: argparse.Namespace) -> int:
    """Check the pumps and tell.

    Returns 0 when nothing is to change and speed, power, flow and head hold, 1 when not, 3 when a pump could
    not be read, 130 when Ctrl-C ended it: what was proven until then is told all the same.
    """
    from api.proving.site_check import SiteCheck
    from collector.registers import RegisterMapError
    from collector.store import StoreError

    if not 0 <= arguments.minutes <= LONGEST_MINUTES:
        raise Refusal(
            f"--minutes should be 0 (once) to {LONGEST_MINUTES:.0f} (a day), not {arguments.minutes:g}"
        )
    site = _site(arguments)
    pumps = _pumps(site, arguments.pump)
    panel = _panel(arguments.panel, pumps)
    say(CAUTION)
    try:
        if arguments.minutes:
            say(f"reading for {arguments.minutes:g} minutes")
        with _store(site) as store, stop_at_ctrl_c() as stop, ProgressLine() as news:
            seconds, before = 60 * arguments.minutes, _before(arguments, stop)
            checks = SiteCheck(site, store, seconds, stop, news, before, panel).run(pumps)
            was_stopped = stop.is_set()
    except RegisterMapError as error:
        raise Refusal(str(error)) from error
    except StoreError as error:
        raise Refusal(str(error), FAILED) from error
    print(json.dumps(_as_json(checks), indent=2) if arguments.json else _as_text(checks))
    if was_stopped:
        say("stopped; this is what the readings until then prove")
        return INTERRUPTED
    return _exit_code(checks)


def _before(arguments: argparse.Namespace, stop: threading.Event) -> Callable[[Bus], None]:
    """Return what is done before a line is asked: listening as the site says, unless somebody vouches."""

    def listen(bus: Bus) -> None:
        if bus.kind == "serial" and bus.listen_first_s and not arguments.i_am_the_only_master:
            listening_first.listen_first(bus.place, bus.listen_first_s, stop)

    return listen


def _panel(text: str | None, pumps: Sequence[Pump]) -> tuple[PanelValue, ...]:
    from collector.matching import PanelError, parse_panel

    if text is None:
        return ()
    if len(pumps) > 1:
        raise Refusal("--panel is what one drive shows: say which with --pump")
    try:
        return parse_panel(text, pumps[0].rated_speed_rpm)
    except PanelError as error:
        raise Refusal(f"--panel: {error}") from error


def _site(arguments: argparse.Namespace) -> Site:
    from collector.site import SiteFileError, load_site

    try:
        return load_site(arguments.site)
    except SiteFileError as error:
        hint = ""
        if "there is no file" in str(error):
            hint = "; owncurve match or owncurve registers writes a register map"
        raise Refusal(f"{error}{hint}") from error


def _pumps(site: Site, name: str | None) -> list[Pump]:
    from collector.toml_file import did_you_mean

    names = [pump.name for pump in site.pumps]
    if not names:
        raise Refusal(f"{site.path} has no [[pump]] yet; owncurve survey --write writes those that answer")
    if name is not None and name not in names:
        raise Refusal(f"{site.path} has no pump {name!r}{did_you_mean(name, names)}")
    return [pump for pump in site.pumps if name in (None, pump.name)]


@contextmanager
def _store(site: Site) -> Iterator[Store | None]:
    """Give the readings of the site, ``None`` where there are none: checking makes no database."""
    from api.proving.site_check import database_file
    from collector.store import open_store

    if not database_file(site).is_file():
        yield None
        return
    store = open_store(site.database_url)
    try:
        yield store
    finally:
        store.close()


def _exit_code(checks: Sequence[PumpCheck]) -> int:
    if any(check.trouble is not None for check in checks):
        return BUS_TROUBLE
    return OK if all(check.holds for check in checks) else FAILED


def _as_text(checks: Sequence[PumpCheck]) -> str:
    lines: list[str] = []
    for check in checks:
        lines.append(f"{check.pump}: {check.how}")
        if check.trouble is not None:
            lines.append(f"  could not be read: {check.trouble}")
        for proof in check.proofs:
            lines += _proof_lines(proof)
        lines += [f"  note: {note}" for note in check.notes]
    return "\n".join([*lines, _summary(checks)])


def _proof_lines(proof: Proof) -> list[str]:
    lines = [f"  {proof.verdict.value:6}  {proof.value}: {proof.sentence}"]
    joint = "change" if len(proof.changes) == 1 else "either"
    return [*lines, *(f"{'':{WIDTH}}{joint} {change.words}" for change in proof.changes)]


def _summary(checks: Sequence[PumpCheck]) -> str:
    from api.proving import Verdict

    verdicts = [proof.verdict for check in checks for proof in check.proofs]
    counts = {verdict: verdicts.count(verdict) for verdict in Verdict}
    silent = sum(check.trouble is not None for check in checks)
    words = f"{counts[Verdict.HOLDS]} hold, {counts[Verdict.CHANGE]} to change, {counts[Verdict.OPEN]} open"
    return words + (f"; {silent} of {len(checks)} pumps could not be read" if silent else "")


def _as_json(checks: Sequence[PumpCheck]) -> list[dict[str, Any]]:
    return [
        {
            "pump": check.pump,
            "how": check.how,
            "trouble": check.trouble,
            "notes": list(check.notes),
            "proofs": [_proof_json(proof) for proof in check.proofs],
        }
        for check in checks
    ]


def _proof_json(proof: Proof) -> dict[str, Any]:
    return {
        "values": proof.value.split(", "),
        "verdict": proof.verdict.value,
        "sentence": proof.sentence,
        "changes": [
            {"place": change.place, "key": change.key, "now": change.now, "to": change.to}
            for change in proof.changes
        ],
    }
