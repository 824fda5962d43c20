"""Judged on tables of a few registers laid by hand: what is preferred, what is left open, what is doubted."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import replace

from collector.matching import Answer, Sample, Sureness, answers, doubts, parse_panel
from collector.matching.places import Image

RPM = (2900, 2523, 1914)


def samples(panels: Sequence[str], columns: dict[int, Sequence[int]]) -> list[Sample]:
    """One sample a panel; of each address what it held at each."""
    made = []
    for place, panel in enumerate(panels):
        image: Image = {("input", address): words[place] for address, words in columns.items()}
        made.append(Sample(panel=parse_panel(panel), images=(image, image), time_utc_ms=place))
    return made


def speed(columns: dict[int, Sequence[int]], rpm: Sequence[int] = RPM, rated: float | None = None) -> Answer:
    (answer,) = answers(samples([f"{each} rpm" for each in rpm], columns), rated)
    return answer


def at(answer: Answer) -> tuple[int, str, float]:
    assert answer.chosen is not None
    return answer.chosen.place.address, answer.chosen.place.type, answer.chosen.scale.scale


def test_a_setpoint_that_stands_still_is_not_the_speed() -> None:
    answer = speed({3: (2900, 2900, 2900), 7: RPM})
    assert (at(answer), answer.sureness) == ((7, "u16", 1.0), Sureness.SURE)


def test_of_two_copies_the_finer_is_taken_and_the_other_named() -> None:
    answer = speed({3: RPM, 7: [10 * each + 1 for each in RPM]})
    assert at(answer) == (7, "u16", 0.1)
    assert [twin.place.address for twin in answer.twins] == [3]


def test_u16_is_taken_where_u32_reads_the_same_for_long() -> None:
    # The register above may mean something else, and be 0 only today.
    answer = speed({6: (0, 0, 0), 7: RPM})
    assert (at(answer), answer.sureness) == ((7, "u16", 1.0), Sureness.SURE)


def test_u16_or_u32_stays_open_where_the_value_may_outgrow_one_register() -> None:
    answer = speed({6: (0, 0, 0), 7: [20 * each for each in RPM]}, [2 * each for each in RPM])
    assert answer.sureness is Sureness.LIKELY
    assert "read the same up to a raw value of 65535: read again as near to full speed" in answer.advice


def test_a_float_is_read_in_the_order_of_the_drive() -> None:
    halves = [struct.unpack(">HH", struct.pack(">f", each + 0.37)) for each in RPM]
    answer = speed({7: [low for _, low in halves], 8: [high for high, _ in halves]})
    assert answer.chosen is not None
    assert (at(answer), answer.chosen.place.word_order) == ((7, "f32", 1.0), "little")


def test_a_speed_in_per_cent_is_found_with_the_rated_speed_alone() -> None:
    columns = {7: (1000, 870, 660)}
    assert speed(columns).chosen is None
    answer = speed(columns, rated=2900)
    assert answer.chosen is not None
    assert answer.chosen.scale.words == "the drive sends 0.1 % of 2900 rpm"


def test_a_mistyped_sample_is_left_out_and_named() -> None:
    answer = speed({7: (2900, 2523, 1914, 2200)}, (2900, 2533, 1914, 2200))
    assert (at(answer), answer.sureness) == ((7, "u16", 1.0), Sureness.LIKELY)
    assert answer.left_out == 1
    assert answer.advice == (
        "sample 2: look at its shaft speed, 2533 rpm: the register that goes with the others held "
        "2523 rpm then; it was left out"
    )


def test_a_unit_mistaken_for_another_is_said() -> None:
    # 142 gpm are 32.25 m3/h (1 gpm = 0.227125 m3/h: NIST SP 811, B.9; from memory).
    panels = ["142 m3/h", "120 gpm", "98 gpm", "81 gpm"]
    (flow,) = answers(samples(panels, {7: (142, 120, 98, 81)}))
    assert (at(flow), flow.left_out) == ((7, "u16", 1.0), 0)
    assert "held 32 m3/h then, which is 142 gpm; it was left out" in flow.advice


def test_a_panel_read_late_is_said() -> None:
    answer = speed({7: (2900, 2523, 1914, 2200)}, (2900, 2523, 2523, 2200))
    assert (answer.left_out, at(answer)) == (2, (7, "u16", 1.0))
    assert "held 1914 rpm then, and sample 2 shows 2523 rpm too: was it read late?" in answer.advice


def test_one_flickering_register_does_not_throw_the_right_one_away() -> None:
    taken = samples([f"{each} rpm" for each in (*RPM, 2200)], {3: (9, 80, 700, 6000), 7: (*RPM, 2200)})
    torn = dict(taken[1].images[1]) | {("input", 7): 7}
    taken[1] = replace(taken[1], images=(taken[1].images[0], torn))
    (answer,) = answers(taken)
    assert (at(answer), answer.left_out) == ((7, "u16", 1.0), 1)


def test_what_nothing_explains_is_not_found_and_no_junk_is_shown() -> None:
    # 16 registers that have nothing to do with the speed.
    junk = {address: [(address * 7919 * place) % 65_521 for place in (3, 5, 11)] for address in range(20, 36)}
    answer = speed(junk)
    assert (answer.chosen, answer.sureness) == (None, Sureness.NONE)


def test_samples_that_disagree_are_named() -> None:
    # Nothing goes with samples 1 and 2, nor with 2 and 3, nor with 3 and 4; 1 and 3 go together.
    answer = speed({7: (2900, 2523, 1914, 2200)}, (2900, 2733, 1914, 2929))
    assert answer.chosen is None
    assert "disagree with each other: take each again, with the pump held steady" in answer.advice


def test_a_flow_at_one_duty_only_is_never_sure_and_a_valve_would_settle_it() -> None:
    # Flow goes with speed, and 0.01 m3/h of register 9 may be 0.1 % of the speed by chance.
    panels = ["10.0 m3/h, 2900 rpm", "8.7 m3/h, 2523 rpm", "6.6 m3/h, 1914 rpm"]
    flow = answers(samples(panels, {7: RPM, 9: (1000, 870, 660)}))[0]
    assert flow.sureness is Sureness.LIKELY
    assert "close a valve a little at the same speed" in flow.advice


def test_a_panel_that_shows_steps_of_25_w_is_explained_once_that_is_said() -> None:
    held = {7: (1163, 912, 641, 388)}
    plain, said = ([f"{watt}{within} W" for watt in (1175, 900, 650, 400)] for within in ("", " ±12.5"))
    assert answers(samples(plain, held))[0].sureness < Sureness.SURE
    (power,) = answers(samples(said, held))
    assert (at(power), power.sureness) == ((7, "u16", 1.0), Sureness.SURE)


def test_one_register_is_not_given_to_two_quantities() -> None:
    # 29.0 m and 2900 rpm: the register of the speed would read as a head of 0.01 m as well.
    panels = ["2900 rpm, 29.0 m", "2523 rpm, 25.2 m", "1914 rpm, 19.1 m"]
    turning, head = answers(samples(panels, {7: RPM, 9: (290, 252, 191)}))
    assert (at(turning)[0], at(head)[0]) == (7, 9)


def test_more_water_than_power_is_a_typing_mistake() -> None:
    # 142 gpm at 27.5 ft: 998.2 x 9.80665 x 0.0089588 x 8.382 = 735 W (ISO 17769-1, from memory).
    right, wrong = "1180 W, 142 gpm, 27.5 ft", "118 W, 142 gpm, 27.5 ft"
    assert doubts(samples([right], {7: (1,)})) == []
    assert doubts(samples([wrong], {7: (1,)}), {0}) == []
    (words,) = doubts(samples([wrong], {7: (1,)}))
    assert "takes 735 W, more than the 118 W" in words


def test_a_head_against_the_affinity_laws_is_doubted() -> None:
    assert doubts(samples(["2900 rpm, 20.0 m", "1450 rpm, 5.0 m"], {7: (1, 2)})) == []
    (words,) = doubts(samples(["2900 rpm, 20.0 m", "1450 rpm, 50.0 m"], {7: (1, 2)}))
    assert "do not go with speed squared" in words


def test_a_table_that_mirrors_the_other_is_the_same_though_it_is_read_a_moment_later() -> None:
    """Many drives show input and holding registers alike; between the two reads a live value goes on."""
    made = []
    for place, rpm in enumerate((29_000, 25_230, 19_140)):
        images = [
            {("input", 7): rpm + ours, ("holding", 7): rpm + theirs} for ours, theirs in ((-30, -14), (0, 16))
        ]
        made.append(
            Sample(panel=parse_panel(f"{rpm / 10:.0f} ±3 rpm"), images=tuple(images), time_utc_ms=place)
        )  # fmt: skip
    (answer,) = answers(made)
    tables = {
        answer.chosen.place.table if answer.chosen else "",
        *(twin.place.table for twin in answer.twins),
    }
    assert (tables, answer.rivals) == ({"input", "holding"}, ())


def test_another_value_at_the_same_address_of_the_other_table_stays_another() -> None:
    made = [
        replace(
            each,
            images=tuple(image | {("holding", 7): round(1.02 * image["input", 7])} for image in each.images),
        )
        for each in samples([f"{rpm} ±80 rpm" for rpm in RPM], {7: RPM})
    ]
    (answer,) = answers(made)
    assert answer.twins == ()
    assert answer.rivals


def test_registers_that_stood_still_while_the_panel_moved_explain_nothing() -> None:
    """Of a range that holds setpoints alone chance explains a sample or two, and no typing is to blame."""
    held = {3: (2900, 2900, 2900), 4: (1180, 1180, 1180)}
    made = samples([f"{rpm} rpm, 27.{place} ft" for place, rpm in enumerate(RPM)], held)
    found = answers(made)
    assert {answer.sureness for answer in found} == {Sureness.NONE}
    assert {answer.advice for answer in found} == {
        "none of the 2 registers that were read changed while the panel did: its values lie elsewhere, so "
        "read more addresses (--addresses) or the other table (--table)"
    }


def test_where_one_register_followed_it_is_found_among_those_that_stood_still() -> None:
    assert at(speed({3: (2900, 2900, 2900), 9: RPM}))[0] == 9
