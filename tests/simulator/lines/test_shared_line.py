"""What befalls talk on a shared line, in the line's own time: nobody waits here, so every run is the same."""

from __future__ import annotations

from itertools import pairwise

import pytest

from simulator.drives import MAPS, Drive
from simulator.lines import (
    BadWire,
    Disturbance,
    ForeignMaster,
    LineSetting,
    PortWiring,
    SharedLine,
    record,
)
from simulator.lines.foreign_master import framed, is_sound, read_request
from tests.simulator.lines.masters import answer, drives, request

NINETEEN = LineSetting(19_200, "E", 1)
MINUTE_S = 60.0
READS = [(1, 3, 10, 4), (2, 3, 20, 3), (3, 3, 0, 1), (1, 3, 500, 2)]
"""Two that are answered, one of a unit that is not there, one that is refused."""
MASTER = ForeignMaster(reads=READS, every_s=0.6)


def line_with(*masters: ForeignMaster, **rest: object) -> SharedLine:
    return SharedLine(NINETEEN, drives().values(), masters, **rest)  # type: ignore[arg-type]


def bytes_heard(line: SharedLine, seconds: float, setting: LineSetting | None = None) -> bytes:
    return b"".join(lump.data for lump in record(line, seconds, setting))


def reply_to(line: SharedLine, ask: bytes, seconds: float = 1.0) -> bytes:
    line.advance(line.now_s + 0.1)
    line.say(ask)
    return bytes_heard(line, seconds)


def test_a_drive_answers_after_the_silence_and_its_turn_around() -> None:
    """8 characters, 3.5 of silence, 4 ms, 11 characters, of 11 bits at 19200 baud: hand-worked."""
    line = line_with()
    line.say(request())
    heard = [character for lump in record(line, 1.0) for character in lump.characters]
    assert bytes(character.byte for character in heard) == answer(1, 1000, 0xFFFF, 640)
    assert heard[-1].ends_s == pytest.approx((8 + 3.5 + 11) * 11 / 19_200 + 0.004)
    assert line.port_bytes_sent == 8


def test_a_published_frame_is_a_request_like_any_other() -> None:
    """Application protocol V1.1b3, 6.3 (from memory): read holding registers 108 to 110, unit 17 here."""
    asked = bytes.fromhex("11 03 006B 0003 7687")
    assert read_request((17, 3, 0x6B, 3)) == asked
    drive = Drive(17, MAPS["A"])
    drive.image = {("holding", 0x6B + place): word for place, word in enumerate((0xAE41, 0x5652, 0x4340))}
    # The answer in the same published example, with its checksum.
    assert reply_to(SharedLine(NINETEEN, [drive]), asked) == bytes.fromhex("11 03 06 AE41 5652 4340 49AD")


def test_the_port_hears_exactly_what_the_ledger_says_was_said() -> None:
    line = line_with(MASTER)
    heard = bytes_heard(line, MINUTE_S)
    said = [talk for exchange in line.exchanges for talk in (exchange.request, *exchange.answers)]
    assert heard == b"".join(talk.data for talk in said)
    assert line.port_bytes_sent == 0


def test_a_master_asks_everything_in_every_round_and_waits_in_vain_for_who_is_not_there() -> None:
    line = line_with(MASTER)
    line.advance(MINUTE_S)
    (master,) = line.masters
    rounds = MINUTE_S / MASTER.every_s
    assert master.answered == pytest.approx(3 * rounds, abs=6)
    assert master.unanswered == pytest.approx(rounds, abs=3)
    absent = [exchange for exchange in line.exchanges if exchange.request.data[0] == 3]
    assert all(exchange.answers == [] for exchange in absent)
    assert len(absent) == pytest.approx(rounds, abs=2)


def test_one_master_alone_keeps_every_silence() -> None:
    line = line_with(MASTER)
    line.advance(MINUTE_S)
    said = [talk for exchange in line.exchanges for talk in (exchange.request, *exchange.answers)]
    assert min(after.begins_s - before.ends_s for before, after in pairwise(said)) >= line.silence_s
    assert sum(exchange.is_undamaged for exchange in line.exchanges) == line.masters[0].answered


def test_two_masters_spoil_some_of_each_others_talk_and_no_more() -> None:
    other = ForeignMaster(reads=[(2, 3, 10, 1)], every_s=0.25, name="another master")
    line = line_with(MASTER, other)
    heard = bytes_heard(line, MINUTE_S)
    collided = [exchange for exchange in line.exchanges if exchange.request.is_collided]
    whole = [exchange for exchange in line.exchanges if exchange.is_undamaged]
    assert len(collided) > 5
    assert len(whole) > 100
    for exchange in whole:
        assert exchange.request.data + exchange.answers[0].data in heard
    # A master may take for its own an answer to what the other asked of the same unit.
    answered = sum(master.answered for master in line.masters)
    assert len(whole) <= answered <= len(whole) + 5


def test_the_port_can_spoil_a_masters_exchange() -> None:
    line = line_with(ForeignMaster(reads=[(1, 3, 10, 4)], every_s=10.0))
    line.advance(0.04)
    while not line.exchanges and line.next_s < 1.0:
        line.advance(line.next_s)
    line.say(request(2))
    line.advance(2.0)
    assert line.masters[0].unanswered == 1


def test_two_units_of_one_number_and_other_values_garble_each_other() -> None:
    twins = [Drive(1, MAPS["A"]), Drive(1, MAPS["A"])]
    twins[0].show({"speed_rpm": 1000.0, "power_w": 640.0})
    twins[1].show({"speed_rpm": 2345.0, "power_w": 333.0})
    garbled = reply_to(SharedLine(NINETEEN, twins), request())
    assert len(garbled) == 11
    assert not is_sound(garbled)


def test_two_units_of_one_number_with_the_same_to_say_at_once_look_like_one() -> None:
    twins = [Drive(1, MAPS["A"]), Drive(1, MAPS["A"])]
    for drive in twins:
        drive.show({"speed_rpm": 1000.0, "power_w": 640.0})
    assert reply_to(SharedLine(NINETEEN, twins), request()) == answer(1, 1000, 0xFFFF, 640)


def test_two_units_of_one_number_far_apart_in_time_answer_twice_and_not_each_other() -> None:
    twins = [Drive(1, MAPS["A"], 0.004), Drive(1, MAPS["A"], 0.050)]
    for place, drive in enumerate(twins):
        drive.show({"speed_rpm": 1000.0 + place})
    line = SharedLine(NINETEEN, twins)
    assert reply_to(line, request(count=1)) == answer(1, 1000) + answer(1, 1001)
    assert [len(exchange.answers) for exchange in line.exchanges] == [2]


def test_a_port_hears_itself_only_with_echo() -> None:
    said = request()
    assert reply_to(line_with(port=PortWiring(echo=True)), said) == said + answer(1, 1000, 0xFFFF, 640)
    assert reply_to(line_with(), said) == answer(1, 1000, 0xFFFF, 640)


def test_the_share_of_damaged_bytes_is_as_asked_and_the_ledger_knows_which_exchanges_it_hit() -> None:
    line = line_with(MASTER, wire=BadWire(damaged_bytes=0.05))
    heard = record(line, 5 * MINUTE_S)
    said = [talk for exchange in line.exchanges for talk in (exchange.request, *exchange.answers)]
    hurt = sum(len(talk.flipped) for talk in said) / sum(len(talk.data) for talk in said)
    assert hurt == pytest.approx(0.05, abs=0.01)
    assert line.masters[0].answered <= sum(exchange.is_undamaged for exchange in line.exchanges) + 2
    errors = sum(each.parity_error or each.framing_error for lump in heard for each in lump.characters)
    assert errors > 100


def test_damaged_frames_are_the_share_asked_for() -> None:
    line = line_with(MASTER, wire=BadWire(damaged_frames=0.2))
    line.advance(5 * MINUTE_S)
    said = [talk for exchange in line.exchanges for talk in (exchange.request, *exchange.answers)]
    assert sum(bool(talk.flipped) for talk in said) / len(said) == pytest.approx(0.2, abs=0.05)


def test_noise_comes_at_any_moment_and_is_in_no_ledger() -> None:
    line = line_with(wire=BadWire(noise_per_s=5.0))
    heard = bytes_heard(line, MINUTE_S)
    assert 300 < len(heard) < 1000
    assert line.exchanges == ()


def test_over_swapped_wires_no_side_understands_the_other() -> None:
    line = line_with(MASTER, port=PortWiring(is_swapped=True))
    heard = b""
    for _ in range(20):
        heard += reply_to(line, request(), 0.7)
    said = {talk.data for exchange in line.exchanges for talk in (exchange.request, *exchange.answers)}
    assert len(heard) > 100
    assert not any(data in heard for data in said)
    assert not any(exchange.answers for exchange in line.exchanges if exchange.request.talker == "port")


def test_over_swapped_wires_on_a_line_without_a_master_nothing_comes_but_the_break_of_the_idle_line() -> None:
    line = line_with(port=PortWiring(is_swapped=True))
    line.say(request())
    (lump,) = record(line, 1.0)
    assert [character.is_break for character in lump.characters] == [True]


@pytest.mark.parametrize("words", ["9600 8E1", "38400 8E1", "19200 8N1", "19200 8O1"])
def test_a_port_set_otherwise_is_not_understood(words: str) -> None:
    baud, mode = words.split()
    line = line_with()
    line.set_port(LineSetting(int(baud), mode[1], int(mode[2])))  # type: ignore[arg-type]
    assert reply_to(line, request()) == b""


def test_a_port_set_otherwise_does_not_hear_a_masters_frames() -> None:
    for setting in (LineSetting(9600, "E", 1), LineSetting(38_400, "E", 1)):
        line = line_with(MASTER)
        heard = bytes_heard(line, MINUTE_S, setting)
        assert len(heard) > 1000
        assert not any(exchange.request.data in heard for exchange in line.exchanges)


@pytest.mark.parametrize(("silences", "is_understood"), [(0.5, False), (1.1, True)])
def test_a_request_is_understood_only_after_a_silence(silences: float, is_understood: bool) -> None:
    line = line_with()
    line.say(request(1))
    answer_ends_s = (8 + 3.5 + 11) * 11 / 19_200 + 0.004
    line.advance(answer_ends_s + silences * line.silence_s)
    line.say(request(2))
    line.advance(1.0)
    assert line.drives[1].asked[3] == is_understood


def test_bytes_said_in_two_goes_without_a_pause_are_one_request() -> None:
    line = line_with()
    line.say(request()[:3])
    line.say(request()[3:])
    assert bytes_heard(line, 1.0) == answer(1, 1000, 0xFFFF, 640)


def test_a_late_unit_answers_into_whatever_is_said_then() -> None:
    line = line_with(disturbance=Disturbance(late=1.0, late_s=0.3))
    assert reply_to(line, request(count=1), 0.25) == b""
    assert bytes_heard(line, 0.5) == answer(1, 1000)


def test_a_unit_that_is_off_the_bus_is_silent() -> None:
    line = line_with()
    line.drives[0].on_bus = False
    assert reply_to(line, request()) == b""


def test_a_master_may_send_other_things_than_reads() -> None:
    """A drive of ours refuses them; a listener has to cope with them."""
    write = (1, bytes.fromhex("06 0064 0BB8"))
    line = line_with(ForeignMaster(reads=READS[:1], others=[write], every_s=0.5))
    heard = bytes_heard(line, 2.0)
    assert framed(*write) + framed(1, b"\x86\x01") in heard
    assert line.masters[0].unanswered == 0


def test_a_seed_gives_the_same_minute_again_and_another_gives_another() -> None:
    first, again, other = (
        bytes_heard(line_with(MASTER, wire=BadWire(damaged_bytes=0.02), seed=seed), MINUTE_S)
        for seed in (1, 1, 2)
    )
    assert first == again
    assert first != other


def test_a_line_that_runs_for_days_remembers_the_newest_exchanges_only() -> None:
    long, short = line_with(MASTER), line_with(MASTER, keeps=10)
    for line in (long, short):
        line.advance(MINUTE_S)
    newest = [(exchange.request.data, len(exchange.answers)) for exchange in long.exchanges[-10:]]
    assert [(exchange.request.data, len(exchange.answers)) for exchange in short.exchanges] == newest


def test_an_adapter_that_hands_over_every_16_ms_changes_when_and_not_what() -> None:
    plain = record(line_with(MASTER), MINUTE_S, lump_s=0.001)
    lumpy = record(line_with(MASTER), MINUTE_S, lump_s=0.016)
    assert b"".join(lump.data for lump in plain) == b"".join(lump.data for lump in lumpy)
    assert len(lumpy) < len(plain) / 3
    assert min(after.time_s - before.time_s for before, after in pairwise(lumpy)) >= 0.0159
    assert all(lump.time_s >= lump.characters[-1].ends_s - 1e-9 for lump in lumpy)
