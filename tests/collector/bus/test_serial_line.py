"""One drive after another that answers wrongly, on a real pseudo-terminal."""

from __future__ import annotations

import os
import pty
import stat
import struct
import time
import tty

import pytest

from collector.bus import BusError, Damaged, Echo, NoLink, NoReply, ReadOnlyBus, Refused
from collector.bus.line_setting import silence_s
from tests.collector.bus.serial_devices import (
    Behaviour,
    framed,
    honest,
    on_pseudo_terminal,
    registers,
    serial_bus,
)


def read_once(behave: Behaviour, count: int = 4, **settings: object) -> bytes:
    with on_pseudo_terminal(behave) as drive, ReadOnlyBus(serial_bus(drive, **settings)) as bus:
        return bus.read_registers(1, "holding", 100, count)


def failure(behave: Behaviour) -> BusError:
    with pytest.raises(BusError) as caught:
        read_once(behave, timeout_s=0.15)
    assert "\n" not in str(caught.value)
    return caught.value


def test_a_drive_that_answers_is_read() -> None:
    assert read_once(honest) == registers(100, 4)


def test_the_longest_answer_is_read() -> None:
    assert read_once(honest, 125) == registers(100, 125)


def test_bits_are_read_lowest_first() -> None:
    # Application protocol V1.1b3, 6.1: coils 20-38 are CD 6B 05, coil 27 the highest bit of CD (from memory).
    with on_pseudo_terminal(lambda _: framed(bytes.fromhex("01 01 03 CD 6B 05"))) as drive:
        with ReadOnlyBus(serial_bus(drive)) as bus:
            bits = bus.read_bits(1, "coil", 19, 19)
    first = [True, False, True, True, False, False, True, True]
    assert list(bits[:8]) == first
    assert bits[16:] == (True, False, True)


def test_a_drive_says_what_it_is() -> None:
    text = framed(b"\x01\x2b\x0e\x01\x01\x00\x00\x02\x00\x03abc\x01\x02de")
    with on_pseudo_terminal(lambda _: text) as drive, ReadOnlyBus(serial_bus(drive)) as bus:
        assert bus.identify(1).objects == {0: "abc", 1: "de"}


def test_silence_is_no_reply() -> None:
    error = failure(lambda _: b"")
    assert isinstance(error, NoReply)
    assert "unit 1 on /dev/pts/" in str(error)
    assert "no reply within 0.15 s" in str(error)


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param(framed(b"\x01\x03\x02" + registers(100, 1)), id="short"),
        pytest.param(framed(b"\x01\x03\x10" + registers(100, 8)), id="long"),
        pytest.param(framed(b"\x01\x03\x00"), id="empty"),
        pytest.param(framed(b"\x01\x04\x08" + registers(100, 4)), id="another function"),
        pytest.param(framed(b"\x02\x03\x08" + registers(100, 4)), id="another unit"),
        pytest.param(framed(b"\x01\x03\x08" + registers(100, 4))[:-1] + b"\x00", id="bad checksum"),
        pytest.param(framed(b"\x01\x03\x08" + registers(100, 4))[:-2], id="cut off"),
        pytest.param(framed(b"\x01\x03\x09" + registers(100, 4) + b"\x00"), id="odd byte count"),
        pytest.param(b"\x01\x03\xff" + b"\x00" * 300, id="byte count lies"),
        pytest.param(bytes(range(40)), id="noise"),
        pytest.param(b"\x00" * 5000, id="zeros"),
    ],
)
def test_an_answer_that_does_not_match_is_damaged_and_gives_no_value(answer: bytes) -> None:
    assert isinstance(failure(lambda _: answer), Damaged)


def test_a_damaged_answer_names_what_to_check() -> None:
    assert "check the baud rate and parity (now 115200 8E1), wires, termination" in str(
        failure(lambda _: b"\x55" * 13)
    )


def test_an_answer_of_another_length_says_so() -> None:
    error = failure(lambda _: framed(b"\x01\x03\x02\x00\x64"))
    assert "asked holding 100 to 103, the answer has 2 bytes of data instead of 8" in str(error)


def test_an_answer_of_another_unit_only_names_it() -> None:
    assert "only unit 9 answered" in str(failure(lambda _: framed(b"\x09\x03\x08" + registers(100, 4))))


def test_our_own_echo_alone_is_reported_as_echo() -> None:
    error = failure(lambda request: request)
    assert isinstance(error, Echo)
    assert "turn off local echo" in str(error)


def test_our_own_echo_before_the_answer_is_skipped() -> None:
    assert read_once(lambda request: request + honest(request)) == registers(100, 4)


@pytest.mark.parametrize("noise", [b"\x00", b"\xff" * 3, b"\x01\x03", b"\x01\x03\x08\x00", bytes(range(64))])
def test_noise_before_and_after_an_answer_does_not_hide_it(noise: bytes) -> None:
    assert read_once(lambda request: noise + honest(request) + noise) == registers(100, 4)


def test_a_foreign_answer_before_ours_does_not_hide_it() -> None:
    foreign = framed(b"\x05\x03\x08" + bytes(8))
    assert read_once(lambda request: foreign + honest(request)) == registers(100, 4)


def test_an_answer_that_comes_byte_by_byte_is_read() -> None:
    def slow(request: bytes) -> list[tuple[float, bytes]]:
        return [(0.002, bytes((byte,))) for byte in honest(request)]

    assert read_once(slow) == registers(100, 4)


def test_an_answer_in_lumps_of_sixteen_milliseconds_is_read() -> None:
    def lumpy(request: bytes) -> list[tuple[float, bytes]]:
        answer = honest(request)
        at_115200 = 167  # characters that the line carries in that time
        return [(0.016, answer[place : place + at_115200]) for place in range(0, len(answer), at_115200)]

    assert read_once(lumpy, 125) == registers(100, 125)


def test_an_answer_longer_than_the_time_out_is_read_once_it_has_begun() -> None:
    # 125 registers take 0.29 s at 9600 baud, and this drive begins only when the line would have ended.
    assert read_once(honest, 125, baud=9600, timeout_s=0.2) == registers(100, 125)


def test_two_different_answers_at_once_are_both_distrusted() -> None:
    other = framed(b"\x01\x03\x08" + registers(900, 4))
    error = failure(lambda request: other + honest(request))
    assert isinstance(error, Damaged)
    assert "two different answers came" in str(error)


def test_the_same_answer_twice_at_once_is_one_answer() -> None:
    assert read_once(lambda request: 2 * honest(request)) == registers(100, 4)


def test_an_identification_in_two_parts_is_joined() -> None:
    parts = iter(
        [
            framed(b"\x01\x2b\x0e\x01\x01\xff\x02\x02\x00\x03abc\x01\x02de"),
            framed(b"\x01\x2b\x0e\x01\x01\x00\x00\x01\x02\x01f"),
        ]
    )
    with on_pseudo_terminal(lambda _: next(parts)) as drive, ReadOnlyBus(serial_bus(drive)) as bus:
        assert bus.identify(1).objects == {0: "abc", 1: "de", 2: "f"}
    assert [request[4] for request in drive.requests] == [0, 2]


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (1, "does not know this function"),
        (2, "no such register"),
        (3, "does not take this number"),
        (4, "failed while reading"),
        (5, "still working on it; ask later"),
        (6, "busy; ask later"),
        (10, "no path to the drive"),
        (11, "got no answer from the drive"),
        (99, "a code of the drive's own"),
    ],
)
def test_an_exception_is_a_refusal_with_the_meaning_of_its_code(code: int, words: str) -> None:
    error = failure(lambda _: framed(bytes((1, 0x83, code))))
    assert isinstance(error, Refused)
    assert (error.exception_code, error.certain) == (code, True)
    assert words in str(error)
    assert "refused holding 100 to 103" in str(error)


def test_the_next_read_after_a_damaged_answer_is_right() -> None:
    answers = iter([b"\x01\x03\x08garbage"])
    with on_pseudo_terminal(lambda request: next(answers, honest(request))) as drive:
        with ReadOnlyBus(serial_bus(drive, late_reply_s=0.02)) as bus:
            with pytest.raises(Damaged):
                bus.read_registers(1, "holding", 100, 4)
            assert bus.read_registers(1, "holding", 200, 4) == registers(200, 4)


@pytest.mark.parametrize("baud", [9_600, 19_200, 38_400, 115_200])
def test_the_silence_is_kept_before_every_request(baud: int) -> None:
    """Seen from the drive's end, from its last byte to the arrival of the next request, in every case."""
    with on_pseudo_terminal(honest) as drive, ReadOnlyBus(serial_bus(drive, baud=baud)) as bus:
        for number in range(60):
            bus.read_registers(1 + number % 3, "holding", number, 1 + number % 20)
    silences_s = drive.silences_s()
    assert len(silences_s) == 59
    assert min(silences_s) >= silence_s(baud)


def test_a_line_that_is_never_silent_is_left_alone() -> None:
    # A silence is 32 ms at this speed, which no loaded machine makes of 1 ms.
    with on_pseudo_terminal(lambda _: [(0.001, b"\x55")] * 1500) as drive:
        with ReadOnlyBus(serial_bus(drive, baud=1200, timeout_s=0.02, late_reply_s=0.01)) as bus:
            with pytest.raises(Damaged):
                bus.read_registers(1, "holding", 0, 1)
            with pytest.raises(Damaged, match="never silent; is there another master"):
                bus.read_registers(2, "holding", 0, 1)
        assert len(drive.requests) == 1


def test_a_missing_port_is_named() -> None:
    with on_pseudo_terminal(honest) as drive:
        bus = serial_bus(drive).model_copy(update={"port": "/dev/ttyNOWHERE"})
        with pytest.raises(NoLink, match="/dev/ttyNOWHERE: there is no such port; is the adapter plugged in"):
            ReadOnlyBus(bus).read_registers(1, "holding", 0, 1)


def test_a_port_in_use_is_named() -> None:
    with on_pseudo_terminal(honest) as drive, ReadOnlyBus(serial_bus(drive)) as first:
        first.connect()
        with pytest.raises(NoLink, match=r"/dev/pts/.*: the port is in use by another program"):
            ReadOnlyBus(serial_bus(drive)).connect()


def test_a_port_without_permission_names_the_group(monkeypatch: pytest.MonkeyPatch) -> None:
    """As root every port opens: the system's refusal is put in its place, the rest is real."""
    with on_pseudo_terminal(honest) as drive:
        group = os.stat(drive.place).st_gid
        assert stat.S_ISCHR(os.stat(drive.place).st_mode)

        def refuse(*_: object, **__: object) -> int:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("serial.serialposix.os.open", refuse)
        import grp

        name = grp.getgrgid(group).gr_name
        with pytest.raises(NoLink, match=f"no permission; add yourself to the group '{name}'"):
            ReadOnlyBus(serial_bus(drive)).connect()


def test_an_adapter_pulled_and_put_back_is_found_again(tmp_path: object) -> None:
    link = f"{tmp_path}/adapter"

    def plug() -> tuple[int, int]:
        master, slave = pty.openpty()
        tty.setraw(slave)
        os.symlink(os.ttyname(slave), link)
        return master, slave

    master, slave = plug()
    with on_pseudo_terminal(honest) as other:
        bus = ReadOnlyBus(serial_bus(other, timeout_s=0.02).model_copy(update={"port": link}))
    with bus:
        with pytest.raises(NoReply):
            bus.read_registers(1, "holding", 0, 1)
        os.unlink(link)
        os.close(slave)
        os.close(master)
        with pytest.raises(NoLink, match=r"the port was lost.*is the adapter plugged in"):
            bus.read_registers(1, "holding", 0, 1)
        master, slave = plug()
        time.sleep(max(0.0, bus.next_try_s - time.monotonic()))
        bus.connect()
        assert bus.is_open
    os.close(slave)
    os.close(master)


def test_a_lost_port_is_not_tried_again_at_once() -> None:
    with on_pseudo_terminal(honest) as drive:
        bus = ReadOnlyBus(serial_bus(drive).model_copy(update={"port": "/dev/ttyNOWHERE"}))
    waits_s = []
    for _ in range(4):
        with pytest.raises(NoLink, match="no such port"):
            bus.connect()
        waits_s.append(round(bus.next_try_s - time.monotonic(), 1))
        bus._next_try_s = 0.0  # as if that time had passed
    assert waits_s == [0.5, 1.0, 2.0, 2.0]


@pytest.mark.parametrize("unit", [0, 248, 256, -1])
def test_nobody_is_asked_under_an_address_that_no_drive_has(unit: int) -> None:
    with on_pseudo_terminal(honest) as drive, ReadOnlyBus(serial_bus(drive)) as bus:
        with pytest.raises(ValueError, match="no drive can have the unit number"):
            bus.read_registers(unit, "holding", 0, 1)
        assert drive.requests == []


def test_the_request_on_the_wire_is_the_one_asked_for() -> None:
    with on_pseudo_terminal(honest) as drive, ReadOnlyBus(serial_bus(drive)) as bus:
        bus.read_registers(17, "holding", 0x6B, 3)
    # Serial line example frame, see test_published_frames.
    assert drive.requests == [bytes.fromhex("11 03 00 6B 00 03 76 87")]
    assert struct.unpack(">H", drive.requests[0][2:4]) == (107,)
