"""A site file begun from a survey: it loads as it stands, and says what is missing."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.site import Bus, Site, load_site
from collector.survey.result import SettingSurvey, Timing, UnitFound
from collector.survey.site_draft import site_draft, time_zone_here

SERIAL = Bus(name="survey", kind="serial", port="/dev/serial/by-id/usb-adapter")
TIMING = Timing(timeout_s=0.3, late_reply_s=1.0)


def unit(number: int, *texts: str) -> UnitFound:
    return UnitFound(
        unit=number,
        identification=dict(enumerate(texts)),
        read=None,
        requests=1,
        answers=1,
        exceptions=0,
        no_answers=0,
        damaged=0,
        turn_around_p50_s=0.01,
        turn_around_p95_s=0.02,
        slowest_s=0.02,
    )


def found(words: str | None, *units: UnitFound) -> SettingSurvey:
    setting: LineSetting | None = None if words is None else parse_line_setting(words)
    return SettingSurvey(
        setting=setting,
        units_asked=247,
        units_planned=247,
        seconds=124.0,
        is_complete=True,
        found=units,
        garbled=(),
        troubles=(),
        timing=TIMING if units else None,
    )


def loaded(text: str, folder: Path) -> Site:
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return load_site(path)


def test_it_loads_with_the_bus_as_it_was_found(tmp_path: Path) -> None:
    site = loaded(site_draft(SERIAL, [found("9600 8N2", unit(11))], "Europe/Lisbon"), tmp_path)
    (bus,) = site.buses
    assert (bus.port, bus.baud, bus.parity, bus.stop_bits) == (SERIAL.port, 9600, "N", 2)
    assert (bus.timeout_s, bus.late_reply_s, site.time_zone) == (0.3, 1.0, "Europe/Lisbon")


def test_each_unit_is_a_pump_that_is_not_yet_polled(tmp_path: Path) -> None:
    site = loaded(site_draft(SERIAL, [found("9600 8N2", unit(5), unit(11))], "UTC"), tmp_path)
    assert [pump.name for pump in site.pumps] == ["Pump at unit 5", "Pump at unit 11"]
    assert {(pump.bus, pump.unit_id, pump.register_map) for pump in site.pumps} == {(None, None, None)}
    assert {pump.provenance.flow for pump in site.pumps} == {"unknown"}


def test_with_the_three_lines_freed_and_a_map_it_is_polled(tmp_path: Path) -> None:
    text = site_draft(SERIAL, [found("9600 8N2", unit(11))], "UTC")
    for key in ("bus", "unit_id", "register_map", "rated_speed_rpm", "rated_power_w"):
        text = text.replace(f"# {key} =", f"{key} =")
    (tmp_path / "maps").mkdir()
    (tmp_path / "maps/unit_11.toml").write_text("", encoding="utf-8")
    (pump,) = loaded(text, tmp_path).pumps
    assert (pump.bus, pump.unit_id, pump.register_map) == ("line_1", 11, "maps/unit_11.toml")


@pytest.mark.parametrize("kind", ["tcp", "rtu_over_tcp"])
def test_a_network_bus_loads_too(kind: str, tmp_path: Path) -> None:
    bus = Bus.model_validate({"name": "survey", "kind": kind, "host": "192.0.2.7", "port": 1502})
    (made,) = loaded(site_draft(bus, [found(None, unit(1))], "UTC"), tmp_path).buses
    assert (made.kind, made.host, made.tcp_port) == (kind, "192.0.2.7", 1502)


def test_what_answered_at_another_setting_is_told_but_is_no_second_bus(tmp_path: Path) -> None:
    surveys = [found("19200 8E1", unit(3)), found("9600 8N1", unit(1), unit(2))]
    text = site_draft(SERIAL, surveys, "UTC")
    site = loaded(text, tmp_path)
    assert ([bus.baud for bus in site.buses], len(site.pumps)) == ([9600], 2)
    assert "# Answered at 19200 8E1 instead: units 3." in text


def test_a_unit_that_answers_at_every_setting_is_told_once() -> None:
    text = site_draft(SERIAL, [found("9600 8N1", unit(1)), found("9600 8N2", unit(1))], "UTC")
    assert (text.count("[[pump]]"), "instead" in text) == (1, False)


def test_the_units_own_words_stand_above_its_pump() -> None:
    text = site_draft(SERIAL, [found("9600 8N2", unit(11, "A maker", "", "1.4"))], "UTC")
    assert '# Unit 11 says it is: "A maker" / "1.4"\n[[pump]]' in text


@given(text=st.text(max_size=40))
def test_no_text_of_a_drive_breaks_the_file(text: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    draft = site_draft(SERIAL, [found("9600 8N2", unit(11, text, "last"))], "UTC")
    site = loaded(draft, tmp_path_factory.mktemp("site"))
    assert len(site.pumps) == 1


def test_nobody_found_is_nothing_to_write() -> None:
    with pytest.raises(ValueError, match="nobody answered"):
        site_draft(SERIAL, [found("9600 8N2")], "UTC")


@pytest.mark.parametrize(
    ("target", "zone"),
    [
        ("usr/share/zoneinfo/Europe/Lisbon", "Europe/Lisbon"),
        ("usr/share/zoneinfo/posix/America/New_York", "America/New_York"),
        ("elsewhere", "UTC"),
    ],
)
def test_the_computers_time_zone_is_told_by_its_link(target: str, zone: str, tmp_path: Path) -> None:
    file = tmp_path / target
    file.parent.mkdir(parents=True, exist_ok=True)
    file.touch()
    (tmp_path / "localtime").symlink_to(file)
    assert time_zone_here(tmp_path / "localtime") == zone
