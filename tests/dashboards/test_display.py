from __future__ import annotations

import numpy as np
import pytest

from dashboards.display import amount, bare, listed, number, percent, signed_percent, unit_for_range, unit_of
from dashboards.views import UnitSystem

SPACE = "\u00a0"


@pytest.mark.parametrize(
    ("quantity", "stored", "shown"),
    [
        # NIST SP 811 (2008), appendix B: 1 US gallon is 3.785412e-3 m³,
        # 1 foot is 0.3048 m, 1 hp is 745.6999 W.
        ("flow_m3h", 3.785412e-3 * 60 * 100, f"100{SPACE}gpm"),
        ("head_m", 0.3048 * 20, f"20.0{SPACE}ft"),
        ("rated_power_w", 745.6999 * 5, f"5.00{SPACE}hp"),
        ("fluid_temperature_c", 100.0, f"212{SPACE}°F"),
        ("volume_m3", 3.785412 * 250, f"250.0{SPACE}×{SPACE}1000 gal"),
    ],
)
def test_us_units_are_those_of_the_published_table(quantity: str, stored: float, shown: str) -> None:
    assert amount(stored, quantity, "US") == shown


def test_energy_per_volume_in_us_units_is_of_a_thousand_gallons() -> None:
    # NIST SP 811: 1000 US gallons are 3.785412 m³, so 1 kWh/m³ is 3.785 kWh per 1000 gal.
    assert amount(1.0, "kwh_per_m3", "US") == f"3.79{SPACE}kWh/1000 gal"


def test_si_shows_what_is_stored() -> None:
    assert amount(14.2, "flow_m3h", "SI") == f"14.2{SPACE}m³/h"


@pytest.mark.parametrize(("power_w", "unit"), [(9_999.0, "W"), (10_000.0, "kW")])
def test_large_electrical_power_is_told_in_kilowatts(power_w: float, unit: str) -> None:
    assert unit_for_range("power_w", "US", power_w).label == unit


@pytest.mark.parametrize("quantity", ["flow_m3h", "head_m", "volume_m3", "kwh_per_m3", "energy_kwh"])
@pytest.mark.parametrize("system", ["SI", "US"])
def test_a_column_shows_the_same_number_as_a_sentence_without_its_unit(
    quantity: str, system: UnitSystem
) -> None:
    unit = unit_of(quantity, system).label
    # Two numbers beside each other would read as one.
    unit = f"×{SPACE}{unit}" if unit[0].isdigit() else unit
    assert f"{bare(123.4, quantity, system)}{SPACE}{unit}" == amount(123.4, quantity, system)


def test_a_columns_unit_does_not_depend_on_one_of_its_values() -> None:
    assert bare(45_000.0, "power_w", "SI") == "45,000"
    assert bare(900.0, "power_w", "SI") == "900"


@pytest.mark.parametrize("missing", [None, float("nan"), float("inf")])
def test_a_missing_value_is_a_dash_and_never_a_zero(missing: float | None) -> None:
    assert amount(missing, "head_m", "SI") == "–"
    assert bare(missing, "head_m", "SI") == "–"
    assert percent(missing) == "–"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (-0.00001, "0"),
        (999.96, "1,000"),
        (1234.5, "1,234"),
        (0.04519, "0.0452"),
        (-3.14159, "−3.14"),
    ],
)
def test_numbers_carry_three_digits_that_mean_something(value: float, text: str) -> None:
    assert number(value, 3, 4) == text


def test_a_fault_code_is_shown_as_the_drive_shows_it() -> None:
    assert amount(4102, "fault_code", "US") == "4102"


@pytest.mark.parametrize(("change", "text"), [(0.0004, "0.0"), (0.0006, "+0.1"), (-0.0006, "−0.1")])
def test_a_change_carries_its_sign_unless_it_rounds_to_nothing(change: float, text: str) -> None:
    assert signed_percent(change) == f"{text}{SPACE}%"


def test_a_gap_stays_a_gap_in_every_unit() -> None:
    assert np.isnan(unit_of("fluid_temperature_c", "US").convert(np.array([np.nan])))[0]


def test_one_word_is_listed_alone() -> None:
    assert listed(["air"]) == "air"
