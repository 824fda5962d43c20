"""A receiver on a line takes the short way where no bit can be misread, and hears the same by it."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.lines.talk import Receiver, Talk
from simulator.lines.uart import Character, LineSetting, joined, receive

SETTINGS = [LineSetting(19200, "E", 1), LineSetting(19200, "N", 1), LineSetting(9600, "N", 2)]

said = st.lists(
    st.tuples(st.floats(0, 0.05), st.binary(min_size=1, max_size=12), st.sampled_from(SETTINGS)),
    min_size=1,
    max_size=5,
)


def talks_of(script: list[tuple[float, bytes, LineSetting]]) -> list[Talk]:
    """Return what was said; the pauses may be shorter than the talks, so that some overlap."""
    talks, begins_s = [], 0.01
    for pause_s, data, setting in script:
        begins_s += pause_s
        talks.append(Talk(talker="somebody", begins_s=begins_s, data=data, setting=setting))
    for one in talks:
        one.is_collided = any(one is not other and one.overlaps(other) for other in talks)
    return talks


def without_times(characters: Sequence[Character]) -> list[tuple[int, bool, bool]]:
    return [(each.byte, each.parity_error, each.framing_error) for each in characters]


@given(script=said, hears=st.sampled_from(SETTINGS), looks=st.lists(st.floats(0, 0.4), max_size=6))
def test_the_short_way_and_the_way_bit_by_bit_hear_the_same(
    script: list[tuple[float, bytes, LineSetting]], hears: LineSetting, looks: list[float]
) -> None:
    talks = talks_of(script)
    receiver = Receiver(hears)
    came: list[Character] = []
    for look_s in [*sorted(looks), 1.0]:
        came += receiver.take([talk for talk in talks if talk.begins_s < look_s], look_s)
    bit_by_bit = receive(joined([talk.wave() for talk in talks]), hears, until_s=1.0).characters
    assert without_times(came) == without_times(bit_by_bit)
    assert [each.ends_s for each in came] == pytest.approx([each.ends_s for each in bit_by_bit], abs=1e-9)


def test_settings_changed_in_the_midst_of_a_talk_hold_from_then_on() -> None:
    setting = LineSetting(9600, "E", 1)
    talk = Talk(talker="somebody", begins_s=0.0, data=bytes(50), setting=setting)
    receiver = Receiver(setting)
    before = receiver.take([talk], 0.02)
    receiver.set_up(LineSetting(19200, "E", 1), 0.02)
    after = receiver.take([talk], 1.0)
    assert {character.framing_error for character in before} == {False}
    assert any(character.framing_error for character in after)
    assert min(character.ends_s for character in after) > 0.02
