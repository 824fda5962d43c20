"""A site file begun from what a survey found: whole enough to be loaded, with what is missing marked."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from collector.bus.line_setting import LineSetting
from collector.site import Bus
from collector.survey.result import SettingSurvey, UnitFound
from collector.toml_file import quoted

BUS_NAME = "line_1"
HEAD = """\
# Begun by "owncurve survey" from what answered. What only people know is marked "<-".
# It can be loaded as it stands. A pump's bus, unit_id and register_map go together: take their "#" away
# once "owncurve match" has written the register map. Until then such a pump is fed by trend logs alone.

[site]
name = "A site without a name"  # <- as people call it
time_zone = {zone}  # <- the site's; this is the computer's
units = "SI"  # <- or "US"
# price_per_kwh = 0.24  # <-
# currency = "EUR"  # <-

# Only one master may speak on a serial line. If another one polls it at times, add listen_only = true."""
PROVENANCE = """\
# Where each value comes from: "measured" by a sensor, "estimated" by the drive from speed and power, or
# "unknown". Only the drive's manual tells. No wear is claimed from what is estimated or unknown.
provenance = { speed = "unknown", power = "unknown", flow = "unknown", head = "unknown" }  # <-"""


def site_draft(bus: Bus, surveys: Sequence[SettingSurvey], zone: str) -> str:
    """Return the text of a site file with the bus at the setting at which most answered.

    Units that answered at another setting are told in comments: one line has one setting.

    Raises
    ------
    ValueError
        When nobody answered.
    """
    best = max(surveys, key=lambda each: len(each.found), default=None)
    if best is None or not best.found:
        raise ValueError("nobody answered, so there is nothing to write into a site file")
    lines = [HEAD.format(zone=quoted(zone)), *_bus_lines(bus, best)]
    for unit in best.found:
        lines += ["", *_pump_lines(unit)]
    known = {unit.unit for unit in best.found}
    for other in surveys:
        elsewhere = [unit.unit for unit in other.found if unit.unit not in known]
        if elsewhere and other.setting is not None:
            lines += ["", _elsewhere(elsewhere, other.setting)]
    return "\n".join(lines) + "\n"


def time_zone_here(localtime: Path = Path("/etc/localtime")) -> str:
    """Return the name of this computer's time zone; "UTC" where it cannot be told."""
    path = os.path.realpath(localtime)
    for folder in ("/zoneinfo/posix/", "/zoneinfo/"):
        if folder in path:
            return path.partition(folder)[2]
    return "UTC"


def _bus_lines(bus: Bus, best: SettingSurvey) -> Iterator[str]:
    yield "[[bus]]"
    yield f"name = {quoted(BUS_NAME)}"
    yield f"kind = {quoted(bus.kind)}"
    if bus.host is not None:
        yield f"host = {quoted(bus.host)}"
    yield f"port = {quoted(bus.port) if isinstance(bus.port, str) else bus.tcp_port}"
    if best.setting is not None:
        yield f"baud = {best.setting.baud}"
        yield f"parity = {quoted(best.setting.parity)}"
        yield f"stop_bits = {best.setting.stop_bits}"
    if best.timing is not None:
        yield f"timeout_s = {best.timing.timeout_s:g}  # three times the slowest answer and 0.1 s"
        yield f"late_reply_s = {best.timing.late_reply_s:g}"


def _pump_lines(unit: UnitFound) -> Iterator[str]:
    yield f"# Unit {unit.unit}{_says(unit)}"
    yield "[[pump]]"
    yield f'name = "Pump at unit {unit.unit}"  # <- as people call it'
    yield f"# bus = {quoted(BUS_NAME)}"
    yield f"# unit_id = {unit.unit}"
    yield f'# register_map = "maps/unit_{unit.unit}.toml"  # <- "owncurve match" writes it'
    yield "# rated_speed_rpm = 2900  # <- from the plate"
    yield "# rated_power_w = 1500  # <- from the plate"
    yield PROVENANCE


def _says(unit: UnitFound) -> str:
    """Return its own words, as one line of a comment whatever is in them."""
    texts = [text for _, text in sorted(unit.identification.items()) if text.strip()]
    if not texts:
        return " does not say what it is."
    return f" says it is: {' / '.join(quoted(text) for text in texts)}"


def _elsewhere(units: Sequence[int], setting: LineSetting) -> str:
    named = ", ".join(map(str, units))
    return f"# Answered at {setting.words} instead: units {named}. Set them as the others and survey again."
