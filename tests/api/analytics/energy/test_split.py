"""A change of energy per volume is parted exactly, and each cause gets what it did."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.analytics.curve import Curve, learn_curve
from api.analytics.energy.factors import LEAST_JUDGED, Factors, factors
from api.analytics.energy.split import Part, Split, log_mean, split, split_of_site
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.hours import hour_rows
from collector.quantities import QUANTITY_NAMES

FACTS = PumpFacts(
    pump="P01", flow=Provenance.MEASURED, head=Provenance.MEASURED, rated_speed_rpm=2900, interval_s=600
)
LEARNED_DAYS = 30
GRAVITY = 9.80665
HEAD = (2.4e-6, -2e-5, -0.006)
POWER = (2.0e-8, 6e-6, -4e-4, 0.0, 0.0)


def readings(first_day: int, days: int, change: Callable[[dict[str, np.ndarray]], None]) -> pd.DataFrame:
    """Noiseless readings of a pump that obeys affinity exactly, changed in one respect."""
    day = first_day + np.arange(days * 144) / 144
    demand = 0.75 + 0.15 * np.sin(2 * np.pi * day) + 0.05 * np.sin(2 * np.pi * day / 7)
    now = {"speed": 1800 + 800 * demand, "share": 0.0115 * (0.8 + 0.3 * demand)}
    now |= {"density": np.ones(len(day)), "power": np.ones(len(day))}
    change(now)
    speed = now["speed"]
    flow = now["share"] * speed
    head = HEAD[0] * speed**2 + HEAD[1] * speed * flow + HEAD[2] * flow**2
    power = POWER[0] * speed**3 + POWER[1] * speed**2 * flow + POWER[2] * speed * flow**2
    index = pd.Index(1_767_571_200_000 + (day * 86_400_000).round().astype(np.int64), name="time_utc_ms")
    frame = pd.DataFrame(np.nan, index=index, columns=list(QUANTITY_NAMES), dtype=float)
    frame["speed_rpm"], frame["flow_m3h"], frame["head_m"] = speed, flow, head
    frame["power_w"] = power * now["power"] * now["density"]
    return frame


def same(_: dict[str, np.ndarray]) -> None:
    pass


def hours_of(first_day: int, days: int, change: Callable[[dict[str, np.ndarray]], None]) -> pd.DataFrame:
    return hour_rows(readings(first_day, days, change), FACTS)


@pytest.fixture(scope="module")
def curve() -> Curve:
    learned = learn_curve(hours_of(0, LEARNED_DAYS, same), FACTS)
    assert learned is not None
    return learned


def parted(curve: Curve, change: Callable[[dict[str, np.ndarray]], None], density: float = 998.2) -> Split:
    before = factors(hours_of(7, 7, same), curve, 998.2, 998.2)
    now = factors(hours_of(21, 7, change), curve, density, 998.2)
    assert now is not None
    assert before is not None
    return split(now, before)


def share_of(found: Split, part: Part) -> float:
    return found.parts[part] / found.change_kwh_per_m3


def test_head_alone_is_given_the_change(curve: Curve) -> None:
    def faster(now: dict[str, np.ndarray]) -> None:
        now["speed"] = now["speed"] * 1.02

    assert share_of(parted(curve, faster), Part.HEAD) > 0.95


@pytest.mark.parametrize("factor", [0.94, 1.06])
def test_the_pump_alone_is_given_the_change(curve: Curve, factor: float) -> None:
    def thirsty(now: dict[str, np.ndarray]) -> None:
        now["power"] = now["power"] * factor

    found = parted(curve, thirsty)
    assert share_of(found, Part.PUMP) > 0.95
    assert found.change_kwh_per_m3 / found.before_kwh_per_m3 == pytest.approx(factor - 1, rel=0.01)


def test_the_place_on_the_curve_alone_is_given_the_change(curve: Curve) -> None:
    def further_left(now: dict[str, np.ndarray]) -> None:
        before = now["share"] * now["speed"]
        head = HEAD[0] * now["speed"] ** 2 + HEAD[1] * now["speed"] * before + HEAD[2] * before**2
        now["share"] = now["share"] * 0.97
        # The same head at less flow for each speed, so at a lower speed.
        per_speed2 = HEAD[0] + HEAD[1] * now["share"] + HEAD[2] * now["share"] ** 2
        now["speed"] = np.sqrt(head / per_speed2)

    found = parted(curve, further_left)
    assert share_of(found, Part.PLACE) > 0.95


def test_density_alone_is_given_the_change(curve: Curve) -> None:
    def heavier(now: dict[str, np.ndarray]) -> None:
        now["density"] = now["density"] * 1.03

    assert share_of(parted(curve, heavier, density=998.2 * 1.03), Part.DENSITY) > 0.95


def test_a_density_that_nobody_told_of_is_put_down_to_the_pump(curve: Curve) -> None:
    def heavier(now: dict[str, np.ndarray]) -> None:
        now["density"] = now["density"] * 1.03

    assert share_of(parted(curve, heavier), Part.PUMP) > 0.95


def test_without_a_curve_pump_and_place_stand_together() -> None:
    found = split(some(efficiency=0.5), some(efficiency=0.6))
    assert set(found.parts) == {Part.HEAD, Part.DENSITY, Part.EFFICIENCY}
    assert share_of(found, Part.EFFICIENCY) == pytest.approx(1.0)


def test_outside_the_learned_region_the_pump_is_not_judged(curve: Curve) -> None:
    def elsewhere(now: dict[str, np.ndarray]) -> None:
        now["share"] = now["share"] * 0.3

    found = factors(hours_of(21, 7, elsewhere), curve)
    assert found is not None
    assert found.judged_share < LEAST_JUDGED
    assert found.over_own is None


def test_the_factors_give_back_the_energy_per_volume(curve: Curve) -> None:
    hours = hours_of(7, 7, same)
    found = factors(hours, curve)
    assert found is not None
    product = 998.2 * GRAVITY * found.mean_head_m / 3.6e6 / found.efficiency
    assert product == pytest.approx(found.kwh_per_m3, rel=1e-12)
    assert found.kwh_per_m3 == pytest.approx(hours["energy_kwh"].sum() / hours["volume_m3"].sum(), rel=1e-12)
    assert found.over_own == pytest.approx(1.0, abs=1e-3)


def test_hours_without_head_stand_as_a_rest_and_the_parts_still_add_up() -> None:
    found = split(some(), some(mean_head_m=10.0), whole=(0.08, 0.06))
    assert math.fsum(found.parts.values()) == pytest.approx(0.02, rel=1e-12)
    assert found.parts[Part.REST] != 0


def test_no_water_has_no_factors() -> None:
    hours = hours_of(0, 1, same)
    assert factors(hours.assign(lifted_volume_m3=0.0)) is None
    assert factors(hours.iloc[:0]) is None


def some(**other: float | None) -> Factors:
    """Factors that agree with themselves: the energy follows from the rest."""
    values = {"volume_m3": 100.0, "density_kg_m3": 998.0, "mean_head_m": 12.0, "efficiency": 0.55}
    plain: dict[str, float] = {**values, **{k: v for k, v in other.items() if v is not None and k in values}}
    lifted = plain["volume_m3"] * plain["density_kg_m3"] * GRAVITY * plain["mean_head_m"] / 3.6e6
    found = Factors(energy_kwh=lifted / plain["efficiency"], judged_share=1.0, **plain)
    return replace(found, over_own=other.get("over_own"))


def drawn() -> st.SearchStrategy[Factors]:
    return st.builds(
        some,
        volume_m3=st.floats(1e-3, 1e6),
        density_kg_m3=st.floats(800, 1200),
        mean_head_m=st.floats(0.05, 200),
        efficiency=st.floats(0.01, 0.95),
        over_own=st.one_of(st.none(), st.floats(0.3, 3)),
    )


@settings(max_examples=10_000, deadline=None)
@given(now=drawn(), before=drawn())
def test_the_parts_add_up_to_the_change(now: Factors, before: Factors) -> None:
    found = split(now, before)
    largest = max(now.kwh_per_m3, before.kwh_per_m3)
    assert abs(math.fsum(found.parts.values()) - found.change_kwh_per_m3) <= 1e-9 * largest
    back = split(before, now)
    assert all(back.parts[part] == pytest.approx(-found.parts[part], rel=1e-9) for part in found.parts)


@settings(max_examples=2_000, deadline=None)
@given(
    now=st.dictionaries(st.sampled_from("ABCDE"), drawn(), min_size=1),
    before=st.dictionaries(st.sampled_from("ABCDE"), drawn(), min_size=1),
)
def test_the_parts_of_a_site_add_up_to_its_change(
    now: dict[str, Factors], before: dict[str, Factors]
) -> None:
    found = split_of_site(now, before)
    ratio = [
        sum(p.energy_kwh for p in pumps.values()) / sum(p.volume_m3 for p in pumps.values())
        for pumps in (now, before)
    ]
    assert (found.now_kwh_per_m3, found.before_kwh_per_m3) == pytest.approx(ratio, rel=1e-12)
    largest = max(map(abs, (*found.parts.values(), *ratio)))
    assert abs(math.fsum(found.parts.values()) - found.change_kwh_per_m3) <= 1e-9 * largest


def test_water_moved_by_the_other_pump_is_a_mix_and_no_pumps_fault() -> None:
    cheap, dear = some(mean_head_m=5.0, over_own=1.0), some(mean_head_m=15.0, over_own=1.0)
    more = some(mean_head_m=15.0, volume_m3=300.0, over_own=1.0)
    found = split_of_site({"A": cheap, "B": more}, {"A": cheap, "B": dear})
    assert share_of(found, Part.MIX) == pytest.approx(1.0)


def test_a_site_without_pumps_is_refused() -> None:
    with pytest.raises(ValueError, match="both periods"):
        split_of_site({}, {"A": some()})


@pytest.mark.parametrize(("one", "other"), [(1.0, 1.0 + 1e-14), (1e-9, 1e9), (3.0, 2.0)])
def test_the_logarithmic_mean_lies_between_the_two_and_has_no_order(one: float, other: float) -> None:
    assert min(one, other) <= log_mean(one, other) * (1 + 1e-15) <= max(one, other) * (1 + 1e-12)
    assert log_mean(one, other) == pytest.approx(log_mean(other, one), rel=1e-12)


def test_the_split_agrees_with_a_worked_example() -> None:
    # By hand: head 10 -> 11 m (ln 1.1 = 0.0953102) and efficiency 0.50 -> 0.55 (-ln 1.1): no change in all;
    # each part is the energy per volume, 998 * 9.80665 * 10 / 3.6e6 / 0.5 = 0.0543724 kWh/m3, times that.
    found = split(some(mean_head_m=11.0, efficiency=0.55), some(mean_head_m=10.0, efficiency=0.5))
    assert found.change_kwh_per_m3 == pytest.approx(0.0, abs=1e-15)
    assert found.parts[Part.HEAD] == pytest.approx(0.0543724 * 0.0953102, rel=1e-5)
    assert found.parts[Part.EFFICIENCY] == pytest.approx(-0.0543724 * 0.0953102, rel=1e-5)
