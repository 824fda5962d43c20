"""A worn pump whose drive computes flow and head: gauges find the loss, within what they claim to know."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.field_check import (
    GRADES,
    Gauge,
    Loss,
    Point,
    Reported,
    Tap,
    Verdict,
    Visit,
    found,
    likely_causes,
    losses,
)
from api.analytics.field_check.expected import (
    SHEET_GRADES,
    by_earlier_check,
    by_sheet,
    head_sheet,
)

RATED_RPM = 2900.0
SHUTOFF_M, FALL = 25.0, 0.008
SHEET = tuple((q, SHUTOFF_M - FALL * q * q, None) for q in (0.0, 10.0, 20.0, 30.0, 40.0))
FACTS = PumpFacts(
    pump="P01",
    speed=Provenance.MEASURED,
    power=Provenance.MEASURED,
    flow=Provenance.ESTIMATED,
    head=Provenance.ESTIMATED,
    rated_speed_rpm=RATED_RPM,
    data_sheet=SHEET,
)
WEIGHT = 998.2 * 9.80665
GAUGE = Gauge(span_pa=400e3, error_share=GRADES["2A"], division_pa=5e3)


def reading_gauge(rng: np.random.Generator, true_pa: float, scale: float) -> float:
    """What is read off the gauge: its own error of scale, and even within half a division."""
    return true_pa * (1 + scale) + GAUGE.division_pa * rng.uniform(-0.5, 0.5)


def visit_of(rng: np.random.Generator, head_m: float, flow_m3h: float, *, is_shutoff: bool = False) -> Visit:
    """A visit to a pump that truly gives this head at this flow; every reading errs as it is said to."""
    scale = GAUGE.error_share * rng.uniform(-1, 1)
    pipes = (0.0825, 0.0668)
    true_taps = [pipe + rng.normal(0, 0.001) for pipe in pipes]
    speeds = [(flow_m3h / 3600 / (math.pi * pipe**2 / 4)) ** 2 / (2 * 9.80665) for pipe in true_taps]
    difference = (head_m - 0.5 - (speeds[1] - speeds[0])) * WEIGHT * (1 + 0.005 * rng.uniform(-1, 1))
    pressures = (60e3, 60e3 + difference)
    heights = (0.3 + rng.normal(0, 0.02), 0.8 + rng.normal(0, 0.02))
    return Visit(
        taps=tuple(
            Tap(pressure_pa=reading_gauge(rng, pressure, scale), height_m=height, pipe_m=pipe)
            for pressure, height, pipe in zip(pressures, heights, pipes, strict=True)
        ),  # type: ignore[arg-type]  # Two of them.
        gauges=(GAUGE, GAUGE),
        is_one_gauge=True,
        flow_m3h=None if is_shutoff else flow_m3h * (1 + 0.03 * rng.uniform(-1, 1)),
        flow_within=0.03,
        is_shutoff=is_shutoff,
    )


def speed_report(rng: np.random.Generator, true_rpm: float) -> dict[str, Reported]:
    return {"speed_rpm": Reported(mean=true_rpm * (1 + 0.005 * rng.uniform(-1, 1)), sd=0.0, count=5)}


def true_head_m(flow_m3h: float, speed_rpm: float, left: float, made: float = 1.0) -> float:
    share = speed_rpm / RATED_RPM
    return made * left * (share**2 * SHUTOFF_M - FALL * flow_m3h**2)


def drawn(rng: np.random.Generator, lost: float, *, is_shutoff: bool = False) -> tuple[Loss, ...]:
    """One visit to a pump made somewhere within the sheet's tolerance, that has lost this share since."""
    speed = rng.uniform(2300, 2900)
    flow = 0.0 if is_shutoff else rng.uniform(15, 30) * speed / RATED_RPM
    made = 1 + SHEET_GRADES["2B"][0] * rng.uniform(-1, 1)
    head = true_head_m(flow, speed, 1 - lost, made)
    visit = visit_of(rng, head, flow, is_shutoff=is_shutoff)
    return losses(found(visit, FACTS, speed_report(rng, speed)), visit, FACTS, None, ())


DRAWS = 2000
LEAST_INSIDE = 0.95 - 2 * math.sqrt(0.95 * 0.05 / DRAWS)
"""95 %, less what the luck of so many draws allows."""


@pytest.mark.parametrize("is_shutoff", [False, True])
def test_the_loss_lies_within_its_interval_in_95_of_100_visits(is_shutoff: bool) -> None:
    rng = np.random.default_rng(11)
    seen = [drawn(rng, 0.08, is_shutoff=is_shutoff)[0].interval for _ in range(DRAWS)]
    assert sum(low <= -0.08 <= high for low, high in seen) / DRAWS >= LEAST_INSIDE


def test_an_earlier_check_leaves_the_sheets_tolerance_out_and_still_holds_the_truth() -> None:
    rng = np.random.default_rng(12)
    inside, widths = 0, []
    for _ in range(DRAWS):
        speeds = rng.uniform(2400, 2900, 2)
        flows = rng.uniform(18, 28, 2) * speeds / RATED_RPM
        made = 1 + SHEET_GRADES["2B"][0] * rng.uniform(-1, 1)
        visits = [
            visit_of(rng, true_head_m(flow, speed, left, made), flow)
            for flow, speed, left in zip(flows, speeds, (1.0, 0.94), strict=True)
        ]
        seen = [
            found(visit, FACTS, speed_report(rng, speed)) for visit, speed in zip(visits, speeds, strict=True)
        ]
        assert seen[0].point is not None
        best = losses(seen[1], visits[1], FACTS, None, (seen[0].point,))[0]
        assert best.by == "earlier_check"
        low, high = best.interval
        inside += low <= -0.06 <= high
        widths.append(high - low)
    assert inside / DRAWS >= LEAST_INSIDE
    assert np.mean(widths) < 0.10


def test_a_pump_that_lost_nothing_is_rarely_said_to_be_below() -> None:
    rng = np.random.default_rng(13)
    wrong = sum(drawn(rng, 0.0)[0].verdict is not Verdict.AS_EXPECTED for _ in range(500))
    assert wrong <= 25


def exact(flow_m3h: float, head_m: float, speed_rpm: float = RATED_RPM, sd_m: float = 0.05) -> Point:
    return Point(
        head_m=head_m,
        head_sd_m=sd_m,
        head_per_flow=0.0,
        flow_m3h=flow_m3h,
        flow_sd_m3h=0.0,
        speed_rpm=speed_rpm,
        speed_sd_rpm=0.0,
    )


def test_the_sheet_goes_to_another_speed_by_the_affinity_laws() -> None:
    # By hand: at half speed, half the flow and a quarter of the head: 25 - 0.008 * 20² = 21.8 m -> 5.45 m.
    sheet = head_sheet(SHEET, RATED_RPM)
    assert sheet is not None
    assert sheet.head_m(20.0, RATED_RPM) == pytest.approx(21.8)
    assert sheet.head_m(10.0, RATED_RPM / 2) == pytest.approx(5.45)


@pytest.mark.parametrize(("flow", "is_there"), [(40.7, True), (41.0, False)])
def test_nothing_is_expected_beyond_what_was_printed(flow: float, is_there: bool) -> None:
    sheet = head_sheet(SHEET, RATED_RPM)
    assert sheet is not None
    assert (by_sheet(sheet, flow, RATED_RPM, "2B") is not None) is is_there


def test_a_sheet_without_a_point_at_shutoff_says_nothing_of_shutoff() -> None:
    sheet = head_sheet(SHEET[1:], RATED_RPM)
    assert sheet is not None
    assert by_sheet(sheet, 0.0, RATED_RPM, "2B") is None


@pytest.mark.parametrize(("points", "rated"), [(SHEET[:2], RATED_RPM), (SHEET, None)])
def test_two_points_or_no_rated_speed_make_no_sheet(points: tuple[object, ...], rated: float | None) -> None:
    assert head_sheet(points, rated) is None  # type: ignore[arg-type]


def test_the_tolerance_is_that_of_the_grade() -> None:
    # ISO 9906:2012 (from memory): grade 1B 3 % of head and 5 % of flow; 2B 5 and 8; 3B 7 and 9. At shutoff
    # the curve is flat, so that head's alone is left: 5 % of 25 m, even within it, 1.25 / sqrt(3) = 0.7217 m.
    sheet = head_sheet(SHEET, RATED_RPM)
    assert sheet is not None
    sds = [each.sd_m for grade in ("1B", "2B", "3B") if (each := by_sheet(sheet, 0.0, RATED_RPM, grade))]
    assert sds == pytest.approx([0.4330, 0.7217, 1.0104], abs=1e-3)


def test_two_shutoff_tests_compare_by_the_square_of_speed() -> None:
    # By hand: 25 m at 2900 rpm is 25 * (2400/2900)² = 17.122 m at 2400 rpm.
    expected = by_earlier_check(exact(0.0, 25.0), exact(0.0, 16.0, 2400.0), None)
    assert expected is not None
    assert expected.head_m == pytest.approx(17.122, abs=1e-3)


def test_a_shutoff_test_and_a_check_at_flow_are_not_compared() -> None:
    sheet = head_sheet(SHEET, RATED_RPM)
    assert by_earlier_check(exact(0.0, 25.0), exact(20.0, 21.0), sheet) is None


@pytest.mark.parametrize(("flow", "is_compared"), [(21.9, True), (22.1, False)])
def test_without_a_sheet_only_near_duties_are_compared(flow: float, is_compared: bool) -> None:
    assert (by_earlier_check(exact(20.0, 21.8), exact(flow, 21.0), None) is not None) is is_compared


def test_another_flow_without_a_sheet_costs_certainty() -> None:
    near, same = (by_earlier_check(exact(20.0, 21.8), exact(q, 21.0), None) for q in (21.5, 20.0))
    assert near is not None
    assert same is not None
    assert near.sd_m > 2 * same.sd_m


@pytest.mark.parametrize(
    ("effect", "verdict"),
    [
        (-0.041, Verdict.BELOW),
        (-0.039, Verdict.AS_EXPECTED),
        (0.039, Verdict.AS_EXPECTED),
        (0.041, Verdict.ABOVE),
    ],
)
def test_only_an_interval_without_zero_says_anything(effect: float, verdict: Verdict) -> None:
    assert Loss(effect=effect, measured_sd=0.012, expected_sd=0.016, by="data_sheet").verdict is verdict


def seen_loss(effect: float, by: str = "data_sheet", measured_sd: float = 0.006) -> Loss:
    return Loss(effect=effect, measured_sd=measured_sd, expected_sd=0.02, by=by)


def test_a_shutoff_head_that_is_kept_tells_ring_leakage() -> None:
    # Worked out: 5 % lost at duty by a leak; shutoff head falls by 0.04 of that.
    assert likely_causes(seen_loss(-0.08), seen_loss(-0.003)) == ("ring_leakage",)


def test_a_shutoff_head_that_fell_as_well_tells_the_impeller() -> None:
    # Worked out: a smaller impeller loses 0.8 of it at shutoff.
    assert likely_causes(seen_loss(-0.08), seen_loss(-0.064)) == ("impeller_wear",)


@pytest.mark.parametrize(
    ("shutoff", "why"),
    [
        (None, "no shutoff test"),
        (seen_loss(-0.045, measured_sd=0.001), "some of both"),
        (seen_loss(-0.003, by="earlier_check"), "another reference"),
        (seen_loss(-0.003, measured_sd=0.05), "too uncertain"),
    ],
)
def test_otherwise_the_two_are_named_together(shutoff: Loss | None, why: str) -> None:
    assert likely_causes(seen_loss(-0.08), shutoff) == ("ring_leakage", "impeller_wear"), why


def test_a_loss_at_shutoff_alone_may_be_a_valve_that_leaks() -> None:
    assert likely_causes(None, seen_loss(-0.08)) == ("impeller_wear", "valve_not_shut")


def test_no_loss_has_no_cause() -> None:
    assert likely_causes(seen_loss(-0.01), seen_loss(-0.01)) == ()
    assert likely_causes(None, None) == ()


TAP = Tap(pressure_pa=50e3, height_m=0.3, pipe_m=0.08)
AT_DUTY = Visit(taps=(TAP, replace(TAP, pressure_pa=250e3)), gauges=(GAUGE, GAUGE), flow_m3h=20.0)
SPEED = {"speed_rpm": Reported(mean=2900.0, sd=1.0, count=5)}
FLOW = {"flow_m3h": Reported(mean=20.0, sd=0.1, count=5)}


def test_the_drives_own_computed_flow_never_places_a_pump_on_its_curve() -> None:
    seen = found(replace(AT_DUTY, flow_m3h=None), FACTS, SPEED | FLOW)
    assert seen.head is not None
    assert (seen.point, seen.unplaced) == (None, "no_own_flow")
    assert losses(seen, AT_DUTY, FACTS, None, ()) == ()


def test_a_flow_that_is_measured_does() -> None:
    facts = replace(FACTS, flow=Provenance.MEASURED)
    seen = found(replace(AT_DUTY, flow_m3h=None), facts, SPEED | FLOW)
    assert seen.flow_from == "drive"
    assert seen.point is not None


@pytest.mark.parametrize(
    ("visit", "reports", "steady", "why"),
    [
        (Visit(flow_m3h=20.0), SPEED, True, "no_gauges"),
        (AT_DUTY, {}, True, "no_speed"),
        (AT_DUTY, {"speed_rpm": Reported(mean=0.0, sd=0.0, count=5)}, True, "no_speed"),
        (AT_DUTY, SPEED, False, "not_steady"),
        (replace(AT_DUTY, taps=(TAP, replace(TAP, pressure_pa=0.0))), SPEED, True, "no_head"),
    ],
)
def test_what_keeps_a_head_from_being_judged_has_a_code(
    visit: Visit, reports: dict[str, Reported], steady: bool, why: str
) -> None:
    seen = found(visit, FACTS, reports, is_steady=steady)
    assert (seen.point, seen.unplaced) == (None, why)


def test_pipes_that_differ_need_a_flow() -> None:
    taps = (TAP, replace(TAP, pressure_pa=250e3, pipe_m=0.06))
    with pytest.raises(ValueError, match="velocity head needs a flow"):
        found(replace(AT_DUTY, taps=taps, flow_m3h=None), FACTS, SPEED)


def test_a_speed_read_by_a_person_goes_before_the_drives() -> None:
    seen = found(replace(AT_DUTY, speed_rpm=2850.0), FACTS, SPEED)
    assert seen.point is not None
    assert seen.point.speed_rpm == 2850.0
