"""A field check from what was typed to what it says of a pump whose drive computes flow and head."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path

import pytest

from api.analytics.facts import ServiceEvent
from api.answers.field_check_results import assessed, field_check_views
from api.answers.field_checks import field_check_page, record_field_check
from api.answers.findings import cards, listed_findings
from api.answers.mistakes import FieldMistakes
from api.answers.pages import pump_page
from api.answers.source import Source, open_source
from collector.site import Pump
from dashboards.field_check_views import FieldCheckView
from dashboards.wording import sentences

PUMP = "Hot tub"
WEIGHT = 998.2 * 9.80665
SUCTION_PA = 50e3
FLOW_M3H = 16.0
SHEET = """
rated_speed_rpm = 2900
data_sheet = [
  { flow_m3h = 0, head_m = 20.184 }, { flow_m3h = 10, head_m = 18.984 },
  { flow_m3h = 20, head_m = 15.384 }, { flow_m3h = 30, head_m = 9.384 },
]
"""
DAY_MS = 86_400_000


@pytest.fixture
def source(analysed: Source) -> Iterator[Source]:
    """The analysed site, with the data sheet of the pump that cannot be judged typed in."""
    path: Path = analysed.site.path
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(f'name = "{PUMP}"\n', f'name = "{PUMP}"\n{SHEET}'), encoding="utf-8")
    opened = open_source(path, analysed.clock)
    yield opened
    opened.close()


@pytest.fixture
def pump(source: Source) -> Pump:
    return source.site.pump(PUMP)


def sheet_head_m(flow_m3h: float, speed_rpm: float = 2400.0) -> float:
    """By hand: 20.184 m at 2900 rpm is 2.4e-6 n²; the fall of 1.2 m at 10 m3/h is 0.012 Q²."""
    return 2.4e-6 * speed_rpm**2 - 0.012 * flow_m3h**2


def typed(head_m: float, **more: str) -> dict[str, str]:
    """What is read on good gauges at taps of one height and pipe, where the pump gives this head."""
    return {
        "suction": "0.5 bar",
        "discharge": f"{(SUCTION_PA + head_m * WEIGHT) / 1000:.2f} kPa",
        "suction_height": "1 ft 4 in",
        "discharge_height": "16 in",
        "suction_pipe": "80 mm",
        "discharge_pipe": "8 cm",
        "span": "2.5 bar",
        "grade": "4A",
        "division": "1 kPa",
        "one_gauge": "yes",
        "speed": "2400 rpm",
        "minutes": "30",
        **more,
    }


def at_duty(lost: float, **more: str) -> dict[str, str]:
    return typed((1 - lost) * sheet_head_m(FLOW_M3H), flow=f"{FLOW_M3H} m3/h", flow_within="2 %", **more)


def at_shutoff(lost: float, **more: str) -> dict[str, str]:
    return typed((1 - lost) * sheet_head_m(0.0), shutoff="yes", **more)


def test_a_pump_that_could_not_be_judged_is_assessed(source: Source, pump: Pump) -> None:
    view = record_field_check(source, pump, at_duty(0.12))
    assert view.losses[0].by == "data_sheet"
    assert view.losses[0].effect == pytest.approx(-0.12, abs=0.002)
    assert view.losses[0].low < -0.12 < view.losses[0].high < 0


def test_a_worked_example_with_every_unit_another(source: Source, pump: Pump) -> None:
    # By hand. Pressure: 2.1 bar = 210 000 Pa, 5 inHg of vacuum = -16 932 Pa (NIST SP 811, from memory);
    # 226 932 / (998.2 * 9.80665) = 23.182 m. Heights: 0.9 m - 14 in (0.3556 m) = 0.544 m. Velocity: 142 gpm =
    # 8.9588e-3 m3/s; 4.026 in: 8.2130e-3 m2, 1.0908 m/s, 0.0607 m; 80 mm: 5.0265e-3 m2, 1.7823 m/s, 0.1620 m;
    # difference 0.101 m. Sum 23.828 m.
    units = {
        "suction": "5 inHg vacuum",
        "discharge": "2.1 bar",
        "suction_height": "14 in",
        "discharge_height": "0.9 m",
        "suction_pipe": "4.026 in",
        "discharge_pipe": "80 mm",
        "span": "60 psi",
        "flow": "142 gpm",
    }
    view = record_field_check(source, pump, units)
    assert view.head_m == pytest.approx(23.828, abs=0.002)
    assert view.parts_m == pytest.approx({"pressure": 23.182, "height": 0.544, "velocity": 0.101}, abs=0.001)


def test_where_the_gauges_sit_need_not_be_typed_twice(analysed: Source) -> None:
    pipes = "suction_pipe_mm = 80, discharge_pipe_mm = 80"
    taps = f"{{ {pipes}, suction_gauge_height_m = 0.2, discharge_gauge_height_m = 0.9 }}"
    path = analysed.site.path
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(f'name = "{PUMP}"\n', f'name = "{PUMP}"\ntaps = {taps}\n'), encoding="utf-8")
    with closing(open_source(path, analysed.clock)) as source:
        pump = source.site.pump(PUMP)
        gauges = {"suction": "0.5 bar", "discharge": "1.5 bar", "span": "2.5 bar"}
        view = record_field_check(source, pump, gauges)
        assert view.parts_m["height"] == pytest.approx(0.7)
        assert view.typed["suction_height"] == "0.2 m"
        # What is typed goes before what stands in the file.
        typed = record_field_check(source, pump, gauges | {"discharge_height": "1.2 m", "minutes": "4"})
        assert typed.parts_m["height"] == pytest.approx(1.0)
        assert field_check_page(source, pump).known["suction_pipe"] == "80 mm"


def test_its_finding_says_so_with_day_and_interval(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_duty(0.12))
    blind = [
        card
        for card in cards(source, source.api_store.findings(PUMP), source.facts(pump))
        if card.kind == "not_assessable"
    ]
    said = sentences.effect_sentence(blind[0], "UTC", source.clock.now_utc_ms())
    assert "assessed by field check on 10\xa0July: head −12\xa0% (−" in said
    assert "against its data sheet" in said


def test_programs_read_the_same_in_the_findings(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_duty(0.12))
    (found,) = [
        each for each in listed_findings(source, PUMP)["findings"] if each["kind"] == "not_assessable"
    ]
    assert found["field_check"]["held_against"] == "data_sheet"
    assert found["field_check"]["effect"] == pytest.approx(-0.12, abs=0.002)


def test_the_pumps_page_says_so_too(source: Source, pump: Pump) -> None:
    assert pump_page(source, pump).field_check is None
    record_field_check(source, pump, at_duty(0.12))
    line = pump_page(source, pump).field_check
    assert line is not None
    assert line.effect == pytest.approx(-0.12, abs=0.002)


def test_a_shutoff_test_of_the_same_visit_tells_leakage_from_the_impeller(source: Source, pump: Pump) -> None:
    duty = record_field_check(source, pump, at_duty(0.12, at="2026-07-10T10:00Z"))
    assert duty.causes == ("ring_leakage", "impeller_wear")
    assert "shutoff_head_test" in duty.checks
    record_field_check(source, pump, at_shutoff(0.01, at="2026-07-10T11:00Z"))
    assert seen(source, pump, duty.check_id).causes == ("ring_leakage",)


def test_a_shutoff_head_that_fell_as_well_tells_the_impeller(source: Source, pump: Pump) -> None:
    duty = record_field_check(source, pump, at_duty(0.12, at="2026-07-10T10:00Z"))
    shutoff = record_field_check(source, pump, at_shutoff(0.11, at="2026-07-10T11:00Z"))
    assert seen(source, pump, duty.check_id).causes == shutoff.causes == ("impeller_wear",)


@pytest.mark.parametrize(("at", "is_told"), [("2026-07-10T09:59Z", True), ("2026-07-10T10:01Z", False)])
def test_a_shutoff_test_belongs_to_a_check_of_the_same_day(
    source: Source, pump: Pump, at: str, is_told: bool
) -> None:
    record_field_check(source, pump, at_shutoff(0.01, at="2026-07-09T10:00Z"))
    duty = record_field_check(source, pump, at_duty(0.12, at=at))
    assert (duty.causes == ("ring_leakage",)) is is_told


def test_work_between_the_two_parts_them(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_shutoff(0.01, at="2026-07-10T08:00Z"))
    source.api_store.add_event(PUMP, ServiceEvent(time_utc_ms=1_783_674_000_000, kind="vented"), "technician")
    duty = record_field_check(source, pump, at_duty(0.12, at="2026-07-10T10:00Z"))
    assert len(duty.causes) == 2


def test_an_earlier_check_goes_before_the_data_sheet_and_is_surer(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_duty(0.03, at="2026-06-10T10:00Z"))
    now = record_field_check(source, pump, at_duty(0.08, at="2026-07-10T10:00Z"))
    assert [loss.by for loss in now.losses] == ["earlier_check", "data_sheet"]
    # By hand: 0.92 / 0.97 - 1 = -5.15 %.
    assert now.losses[0].effect == pytest.approx(-0.0515, abs=0.002)
    assert now.losses[0].high - now.losses[0].low < now.losses[1].high - now.losses[1].low


def test_a_new_baseline_ends_what_earlier_checks_say(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_duty(0.12, at="2026-06-10T10:00Z"))
    event = ServiceEvent(time_utc_ms=1_783_000_000_000, kind="impeller_changed", new_baseline=True)
    source.api_store.add_event(PUMP, event, "technician")
    assert assessed(source, pump) is None
    now = record_field_check(source, pump, at_duty(0.0, at="2026-07-10T10:00Z"))
    assert [loss.by for loss in now.losses] == ["data_sheet"]
    assert assessed(source, pump) is not None


def test_work_since_a_check_is_said_beside_it(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_duty(0.12, at="2026-06-10T10:00Z"))
    event = ServiceEvent(time_utc_ms=1_783_000_000_000, kind="strainer_cleaned")
    source.api_store.add_event(PUMP, event, "technician")
    line = assessed(source, pump)
    assert line is not None
    assert line.is_before_work


def test_a_corrected_check_stays_and_counts_no_more(source: Source, pump: Pump) -> None:
    first = record_field_check(source, pump, at_duty(0.4, at="2026-07-09T10:00Z"))
    record_field_check(source, pump, at_duty(0.04, at="2026-07-09T10:00Z", corrects=str(first.check_id)))
    line = assessed(source, pump)
    assert line is not None
    assert line.effect == pytest.approx(-0.04, abs=0.002)
    assert [view.corrected_by is None for view in field_check_views(source, pump)] == [False, True]


def seen(source: Source, pump: Pump, check_id: int) -> FieldCheckView:
    return next(view for view in field_check_views(source, pump) if view.check_id == check_id)


def test_gauges_against_the_drive_say_nothing_of_wear(source: Source, pump: Pump) -> None:
    # The drive's head is 20 % above what the gauges say, and its flow is all there is.
    reported_m = source.store.rows(PUMP, 0, 2**62, ("head_m",))[-1][1]
    view = record_field_check(source, pump, typed(reported_m / 1.2, speed=""))
    assert view.unplaced == "no_own_flow"
    assert (view.losses, view.causes) == ((), ())
    assert [(each.quantity, each.agreement, each.declared) for each in view.beside] == [
        ("head_m", "differs", "estimated")
    ]
    assert assessed(source, pump) is None


def test_gauges_that_agree_confirm_the_drives_head(source: Source, pump: Pump) -> None:
    rows = source.store.rows(PUMP, source.clock.now_utc_ms() - 1_800_000, 2**62, ("head_m",))
    mean_m = sum(row[1] for row in rows) / len(rows)
    view = record_field_check(source, pump, typed(mean_m, speed=""))
    assert [(each.agreement, each.count) for each in view.beside] == [("agrees", len(rows))]


def test_a_strap_on_flow_alone_is_held_against_the_drives(source: Source, pump: Pump) -> None:
    view = record_field_check(source, pump, {"flow": "140 gpm", "minutes": "30"})
    assert view.head_m is None
    assert [each.quantity for each in view.beside] == ["flow_m3h"]


def test_minutes_without_a_reading_are_no_hindrance(source: Source, pump: Pump) -> None:
    view = record_field_check(source, pump, at_duty(0.12, at="2020-01-01T00:00Z"))
    assert view.beside == ()
    assert view.losses[0].effect == pytest.approx(-0.12, abs=0.002)


def test_without_a_speed_nothing_is_concluded(source: Source, pump: Pump) -> None:
    view = record_field_check(source, pump, at_duty(0.12, at="2020-01-01T00:00Z", speed=""))
    assert (view.unplaced, view.losses) == ("no_speed", ())


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"suction": ""}, "suction", "is missing; write a number and its unit"),
        ({"discharge": "3 bar"}, "discharge", "beyond the gauge's span"),
        ({"suction": "-1.1 bar"}, "suction", "cannot be; is the unit right?"),
        ({"suction_height": "0.4"}, "suction_height", "has no unit"),
        ({"discharge_height": "200 m"}, "discharge_height", "cannot be"),
        ({"suction_pipe": ""}, "suction_pipe", "is missing"),
        ({"discharge_pipe": "4 mm"}, "discharge_pipe", "cannot be"),
        ({"span": ""}, "span", "is missing"),
        ({"suction_span": "1 bar"}, "suction_span", "not one and the same gauge"),
        ({"grade": "D"}, "grade", "is no grade"),
        ({"grade": "0 %"}, "grade", "not between 0 and 20 %"),
        ({"division": "2 bar"}, "division", "cannot be"),
        ({"flow": "0 gpm"}, "flow", "cannot be"),
        ({"flow_within": "50 %"}, "flow_within", "cannot be"),
        ({"shutoff": "yes"}, "flow", "no shutoff test"),
        ({"speed": "50 %"}, "speed", "no unit of speed"),
        ({"at": "2099-01-01"}, "at", "still to come"),
        ({"at": "1990-01-01"}, "at", "before the year 2000"),
        ({"at": "yesterday"}, "at", "cannot be read"),
        ({"minutes": "0.4"}, "minutes", "between 0.5 and 60"),
        ({"minutes": "nan"}, "minutes", "between 0.5 and 60"),
        ({"sheet_grade": "4B"}, "sheet_grade", "expected one of 1B, 2B, 3B"),
        ({"role": "boss"}, "role", "is no role"),
        ({"note": "a\nb"}, "note", "one line"),
        ({"corrects": "7"}, "corrects", "has no field check 7"),
        ({"corrects": "x"}, "corrects", "number of an earlier check"),
        ({"sucktion": "1 bar"}, "sucktion", "is no field"),
    ],
)
def test_what_cannot_be_right_is_said_beside_its_field_and_nothing_is_kept(
    source: Source, pump: Pump, change: Mapping[str, str], field: str, words: str
) -> None:
    with pytest.raises(FieldMistakes) as refusal:
        record_field_check(source, pump, at_duty(0.1) | change)
    assert words in refusal.value.sentences[field]
    assert "\n" not in str(refusal.value)
    assert source.api_store.field_checks(PUMP) == ()


def test_all_mistakes_are_told_at_once(source: Source, pump: Pump) -> None:
    with pytest.raises(FieldMistakes) as refusal:
        record_field_check(source, pump, at_duty(0.1) | {"suction": "12", "flow": "x", "role": "boss"})
    assert set(refusal.value.sentences) == {"suction", "flow", "role"}


@pytest.mark.parametrize(
    ("values", "words"), [({}, "nothing was measured"), ({"shutoff": "yes"}, "read on gauges")]
)
def test_a_check_of_nothing_is_refused(
    source: Source, pump: Pump, values: dict[str, str], words: str
) -> None:
    with pytest.raises(FieldMistakes, match=words):
        record_field_check(source, pump, values)


def test_pipes_that_differ_ask_for_the_flow(source: Source, pump: Pump) -> None:
    values = typed(8.0, at="2020-01-01T00:00Z", discharge_pipe="6 cm")
    with pytest.raises(FieldMistakes, match="flow: is missing"):
        record_field_check(source, pump, values)


def test_the_same_check_sent_twice_is_one(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_duty(0.1, at="2026-07-10T10:00Z"))
    with pytest.raises(FieldMistakes, match="recorded already"):
        record_field_check(source, pump, at_duty(0.1, at="2026-07-10T10:00Z"))


def test_a_corrected_check_cannot_be_corrected_again(source: Source, pump: Pump) -> None:
    first = record_field_check(source, pump, at_duty(0.1))
    record_field_check(source, pump, at_duty(0.2, corrects=str(first.check_id)))
    with pytest.raises(FieldMistakes, match="correct that one"):
        record_field_check(source, pump, at_duty(0.3, corrects=str(first.check_id)))


def test_a_measured_pump_is_held_against_its_own_curve(source: Source) -> None:
    own = source.site.pump("Lap pool 1")
    rows = source.store.rows(own.name, source.clock.now_utc_ms() - 1_800_000, 2**62, ("speed_rpm", "head_m"))
    head_m = sum(row[2] for row in rows) / len(rows)
    view = record_field_check(source, own, typed(head_m, speed=""))
    assert [loss.by for loss in view.losses] == ["own_curve"]
    assert view.losses[0].verdict == "as_expected"


def test_sensors_that_disagree_with_the_gauges_are_not_taken_for_wear(source: Source) -> None:
    own = source.site.pump("Lap pool 1")
    rows = source.store.rows(own.name, source.clock.now_utc_ms() - 1_800_000, 2**62, ("head_m",))
    view = record_field_check(source, own, typed(0.9 * rows[-1][1], speed=""))
    assert view.losses == ()
    assert [each.agreement for each in view.beside] == ["differs"]


def test_a_shutoff_test_does_not_hide_what_the_check_at_flow_found(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_duty(0.12, at="2026-07-10T10:00Z"))
    record_field_check(source, pump, at_shutoff(0.0, at="2026-07-10T11:00Z"))
    line = assessed(source, pump)
    assert line is not None
    assert line.effect == pytest.approx(-0.12, abs=0.002)


def test_a_shutoff_test_alone_is_an_assessment_too(source: Source, pump: Pump) -> None:
    record_field_check(source, pump, at_shutoff(0.11, at="2026-07-10T11:00Z"))
    line = assessed(source, pump)
    assert line is not None
    assert line.effect == pytest.approx(-0.11, abs=0.002)


def test_a_speed_that_was_read_is_held_against_the_drives_too(source: Source, pump: Pump) -> None:
    rows = source.store.rows(PUMP, source.clock.now_utc_ms() - 1_800_000, 2**62, ("speed_rpm",))
    mean_rpm = sum(row[1] for row in rows) / len(rows)
    for speed, agreement in ((mean_rpm * 1.01, "agrees"), (mean_rpm * 1.03, "differs")):
        view = record_field_check(source, pump, at_duty(0.12) | {"speed": f"{speed:.1f} rpm"})
        assert {each.quantity: each.agreement for each in view.beside}["speed_rpm"] == agreement
