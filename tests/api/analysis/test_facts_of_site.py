"""What is written of a pump reaches analytics, and the density is that of the published tables."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.analysis.facts_of_site import pump_facts, stated_interval_s
from api.analysis.fluids import density_kg_m3
from api.analytics.facts import Provenance, ServiceEvent
from collector.site import Site, load_site

SITE = """
[site]
name = "Harbour baths"
time_zone = "Europe/Lisbon"

[[bus]]
name = "plant room"
kind = "tcp"
host = "127.0.0.1"
interval_s = 5

[[pump]]
name = "P01"
bus = "plant room"
unit_id = 3
register_map = "map.toml"
provenance = { speed = "measured", power = "measured", flow = "measured", head = "estimated" }
rated_speed_rpm = 2900
fluid = "propylene_glycol"
glycol_mass_pct = 30
fluid_temperature_c = 40
head_loss_notice_pct = 1.2
head_loss_evidence_sd = 6.5
data_sheet = [{ flow_m3h = 0, head_m = 20, power_w = 600 }, { flow_m3h = 12, head_m = 18 }]

[[pump]]
name = "P02"
"""
REGISTER_MAP = """
[map]
name = "invented"
addresses = "zero-based"

[quantity.speed_rpm]
table = "input"
address = 1
type = "u16"
unit = "rpm"

[fault.12]
words = "motor too hot"
check = "fan and fins"
"""


@pytest.fixture
def site(tmp_path: Path) -> Site:
    (tmp_path / "map.toml").write_text(REGISTER_MAP, encoding="utf-8")
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return load_site(path)


def test_what_the_site_file_says_reaches_analytics(site: Site) -> None:
    facts = pump_facts(site, site.pump("P01"))
    assert (facts.flow, facts.head) == (Provenance.MEASURED, Provenance.ESTIMATED)
    assert (facts.rated_speed_rpm, facts.interval_s) == (2900, 5)
    assert facts.density_kg_m3 == pytest.approx(1013.43, abs=0.01)


def test_the_threshold_for_a_loss_of_head_reaches_analytics_in_shares(site: Site) -> None:
    facts = pump_facts(site, site.pump("P01"))
    assert (facts.head_loss_notice, facts.head_loss_evidence_sd) == (pytest.approx(0.012), 6.5)


def test_a_threshold_that_is_not_stated_is_left_to_the_analysis(site: Site) -> None:
    facts = pump_facts(site, site.pump("P02"))
    assert (facts.head_loss_notice, facts.head_loss_evidence_sd) == (None, None)


def test_the_manuals_meaning_of_a_fault_code_reaches_analytics(site: Site) -> None:
    assert pump_facts(site, site.pump("P01")).fault_meanings == {12: "motor too hot\nfan and fins"}


def test_a_pump_without_a_bus_has_no_stated_interval_and_takes_the_one_seen(site: Site) -> None:
    assert stated_interval_s(site, site.pump("P02")) is None
    assert pump_facts(site, site.pump("P02"), interval_s=60.0).interval_s == 60.0


def test_the_data_sheet_reaches_analytics(site: Site) -> None:
    assert pump_facts(site, site.pump("P01")).data_sheet == ((0.0, 20.0, 600.0), (12.0, 18.0, None))


def test_what_is_not_stated_is_unknown(site: Site) -> None:
    assert pump_facts(site, site.pump("P02")).flow is Provenance.UNKNOWN


def test_service_events_are_handed_on(site: Site) -> None:
    event = ServiceEvent(time_utc_ms=5, kind="vented")
    assert pump_facts(site, site.pump("P02"), events=(event,)).events == (event,)


@pytest.mark.parametrize(
    ("temperature_c", "expected"),
    [(4, 999.975), (25, 997.047), (60, 983.196), (82.22, 970.393), (90, 965.310)],
)
def test_water_is_as_dense_as_iapws_95_says(temperature_c: float, expected: float) -> None:
    # IAPWS-95 at atmospheric pressure; 25 °C is 997.047 kg/m³ in the same release. Straight lines between
    # the table's rows are at most 0.2 kg/m³ away, which is a fiftieth of a per cent of power.
    assert density_kg_m3("water", temperature_c) == pytest.approx(expected, abs=0.2)


@pytest.mark.parametrize(
    ("fluid", "percent", "temperature_c", "expected"),
    [
        ("propylene_glycol", 40, 20, 1032.27),
        ("ethylene_glycol", 20, 60, 1006.21),
        ("ethylene_glycol", 30, 4, 1043.78),
    ],
)
def test_glycol_is_as_dense_as_the_mixture_tables_say(
    fluid: str, percent: float, temperature_c: float, expected: float
) -> None:
    # CoolProp incompressible mixtures MPG and MEG, by mass fraction.
    assert density_kg_m3(fluid, temperature_c, percent) == pytest.approx(expected, abs=0.01)


def test_no_glycol_is_water() -> None:
    assert density_kg_m3("ethylene_glycol", 40, 0) == density_kg_m3("water", 40)


def test_an_unknown_fluid_is_refused() -> None:
    with pytest.raises(KeyError):
        density_kg_m3("milk", 20)
