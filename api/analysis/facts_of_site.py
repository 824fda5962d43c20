"""What the site file, the register map and the service log say of a pump, as analytics need it."""

from __future__ import annotations

from collections.abc import Mapping

from api.analysis.fluids import density_kg_m3
from api.analytics.facts import Provenance, PumpFacts, ServiceEvent
from collector.site import Pump, Site


def pump_facts(
    site: Site,
    pump: Pump,
    events: tuple[ServiceEvent, ...] = (),
    interval_s: float | None = None,
) -> PumpFacts:
    """Return the facts of a pump; ``interval_s`` [s] is used where the site file states none.

    Raises
    ------
    collector.registers.RegisterMapError
        When the pump's register map cannot be read.
    """
    return PumpFacts(
        pump=pump.name,
        speed=Provenance(pump.provenance.speed),
        power=Provenance(pump.provenance.power),
        flow=Provenance(pump.provenance.flow),
        head=Provenance(pump.provenance.head),
        rated_speed_rpm=pump.rated_speed_rpm,
        rated_power_w=pump.rated_power_w,
        density_kg_m3=density_kg_m3(pump.fluid, pump.fluid_temperature_c, pump.glycol_mass_pct),
        interval_s=stated_interval_s(site, pump) or interval_s,
        starts_per_hour_limit=pump.starts_per_hour_limit,
        head_loss_notice=None if pump.head_loss_notice_pct is None else pump.head_loss_notice_pct / 100,
        head_loss_evidence_sd=pump.head_loss_evidence_sd,
        fault_meanings=fault_meanings(site, pump),
        events=events,
        data_sheet=tuple((point.flow_m3h, point.head_m, point.power_w) for point in pump.data_sheet),
    )


def stated_interval_s(site: Site, pump: Pump) -> float | None:
    """Return the time between readings [s] that the site file states, for the pump or its bus."""
    if pump.interval_s is not None or pump.bus is None:
        return pump.interval_s
    return site.bus(pump.bus).interval_s


def fault_meanings(site: Site, pump: Pump) -> Mapping[int, str]:
    """Return what the manual says of each fault code, as typed in by the tech.

    What it says to check stands on a line of its own, so that a page can tell the two apart.
    """
    path = site.register_map_path(pump)
    if path is None:
        return {}
    from collector.registers import load_register_map

    return {
        code: f"{fault.words}\n{fault.check}" if fault.check else fault.words
        for code, fault in load_register_map(path).faults.items()
    }
