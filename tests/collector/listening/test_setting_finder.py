"""Each of the 24 settings is found from the traffic of a building controller that polls three drives.

The line is simulated to the bit: what comes is what a UART of the tried setting would make of the sender's
levels, with parity and framing errors. It runs in its own time, so ten seconds of traffic take a moment.
Parity can only be tried so: Linux drops it on a pseudo-terminal (see ``test_listen_on_terminals`` for those).
"""

from __future__ import annotations

import threading

import pytest

from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.listening.setting_finder import BAUDS, FoundSetting, SettingFinder
from simulator.lines import BadWire, PortWiring, SharedLine
from tests.collector.listening.lines import LinePort, polled_line, simulated

SETTINGS = [parse_line_setting(f"{baud} {form}") for baud in BAUDS for form in ("8E1", "8N1", "8O1", "8N2")]


def found_on(
    line: SharedLine, seconds: float = 10.0, lump_s: float = 0.001, *, follows_parity: bool = False
) -> FoundSetting | None:
    port = LinePort(line, lump_s=lump_s, follows_parity=follows_parity)
    return SettingFinder(port, line.now_s + seconds, threading.Event()).find()


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda setting: setting.words)
def test_the_setting_is_found_within_ten_seconds_of_traffic(setting: LineSetting) -> None:
    for seed in range(3):
        line = polled_line(setting, every_s=1.0, seed=seed)
        line.advance(0.21 * seed)
        assert found_on(line) == FoundSetting(setting=setting)


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda setting: setting.words)
def test_it_is_found_by_a_receiver_that_starts_at_a_low_stop_bit(setting: LineSetting) -> None:
    # Two kinds of receiver are sold (common practice); after a framing error they hear different things.
    line = polled_line(setting, port=PortWiring(starts_at_low_stop=True))
    assert found_on(line) == FoundSetting(setting=setting)


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda setting: setting.words)
def test_it_is_found_within_ten_seconds_while_one_byte_in_twenty_is_damaged(setting: LineSetting) -> None:
    line = polled_line(setting, every_s=1.0, wire=BadWire(damaged_bytes=0.05), seed=4)
    assert found_on(line) == FoundSetting(setting=setting)


@pytest.mark.parametrize("setting", SETTINGS[::5], ids=lambda setting: setting.words)
def test_it_is_found_where_a_master_reads_one_block_every_other_second(setting: LineSetting) -> None:
    line = polled_line(setting, every_s=2.0, reads=((1, 3, 10, 4),))
    assert found_on(line) == FoundSetting(setting=setting)


def test_a_silent_line_has_no_setting() -> None:
    port = LinePort(SharedLine(simulated(parse_line_setting("9600 8E1"))))
    finder = SettingFinder(port, 20.0, threading.Event())
    assert (finder.find(), finder.bytes_heard) == (None, 0)


def test_a_line_heard_through_swapped_wires_has_no_setting() -> None:
    line = polled_line(parse_line_setting("19200 8E1"), port=PortWiring(is_swapped=True))
    finder = SettingFinder(LinePort(line), 20.0, threading.Event())
    assert finder.find() is None
    assert finder.bytes_heard > 100


def test_it_ends_when_told_to() -> None:
    stop = threading.Event()
    stop.set()
    assert SettingFinder(LinePort(polled_line(SETTINGS[0])), 20.0, stop).find() is None


@pytest.mark.parametrize(("form", "told"), [("8N1", "8N1"), ("8E1", "8E1"), ("8N2", "8E1")])
def test_without_parity_in_sight_the_time_of_characters_tells_8n1_from_the_rest(form: str, told: str) -> None:
    line = polled_line(
        parse_line_setting(f"9600 {form}"), reads=((1, 3, 10, 4), (5, 4, 100, 14)), every_s=0.2
    )
    # As behind a pseudo-terminal: the parity of the port is the line's, whatever is asked for.
    found = found_on(line, lump_s=0.0005, follows_parity=True)
    assert found is not None
    assert found.setting.words == f"9600 {told}"
    assert ("eleven bits" in found.doubt, found.doubt == "") == (told == "8E1", told == "8N1")


@pytest.mark.parametrize("form", ["8E1", "8O1", "8N2"])
def test_at_the_speed_that_is_heard_first_no_parity_is_taken_for_sure_out_of_sight(form: str) -> None:
    # Frames come before anything was tried; that their characters bear no marks means nothing here.
    line = polled_line(parse_line_setting(f"115200 {form}"), every_s=0.2)
    found = found_on(line, follows_parity=True)
    assert found is not None
    assert (found.setting.baud, found.doubt == "") == (115_200, False)


def test_what_the_adapters_lumps_hide_is_not_told() -> None:
    line = polled_line(parse_line_setting("115200 8N1"), reads=((1, 3, 10, 4), (5, 4, 100, 14)), every_s=0.2)
    found = SettingFinder(LinePort(line, follows_parity=True, lump_s=0.016), 20.0, threading.Event()).find()
    assert found is not None
    assert "nor do the times tell" in found.doubt
