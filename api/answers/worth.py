"""What a pump's week is worth: what findings cost in it, what another control would have cost."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from api.analysis.pump_pass import curve_of
from api.analytics.curve import Curve, baseline_start_utc_ms
from api.analytics.energy.control_modes import Mode, other_control
from api.analytics.energy.duties import Duties, duties
from api.analytics.energy.worth import WEEKS_A_YEAR, worth_of
from api.analytics.energy.yardsticks import COOLING_W_PER_GPM, HEATING_W_PER_GPM, w_per_gpm
from api.analytics.facts import Provenance
from api.answers.findings import current_card
from api.answers.source import Source
from api.store.stored_finding import State
from collector.site import Pump
from dashboards.pages.week_table import is_part
from dashboards.views import EnergyWeek, FindingCard
from dashboards.why_views import FindingWorth, NotTold, OtherControlRow, Yardsticks

LOWER: Final = 0.9
"""A constant pressure at so much of the head that was held at the top [-]: a setpoint to try (our choice)."""
LOWER_SETPOINT: Final = "lower_setpoint"


class Worth:
    """One pump's week as duties on its own curve, ready to be priced."""

    def __init__(self, source: Source, pump: Pump, week: EnergyWeek) -> None:
        self._source, self._pump, self._week = source, pump, week
        self._facts = source.facts(pump)
        self._curve = self._own_curve()
        hours = source.api_store.hours(pump.name, week.start_utc_ms, week.end_utc_ms)
        has_hours = self._curve is not None and not hours.empty
        self._seen: Duties | None = duties(hours, self._curve) if has_hours and self._curve else None

    def _own_curve(self) -> Curve | None:
        is_older = self._week.start_utc_ms < baseline_start_utc_ms(self._facts)
        return None if is_older else curve_of(self._source.api_store, self._facts)

    @property
    def not_told(self) -> NotTold:
        """Return why nothing can be worked out on the own curve, nothing where it can."""
        if self._curve is None:
            is_older = self._week.start_utc_ms < baseline_start_utc_ms(self._facts)
            return "new_baseline" if is_older else "no_curve"
        return "" if self._seen is not None and len(self._seen) else "outside_region"

    @property
    def is_estimated(self) -> bool:
        """Return whether the drive computes flow or head, so that both lie on its own built-in curve."""
        return Provenance.ESTIMATED in (self._facts.flow, self._facts.head)

    def findings(self) -> tuple[tuple[FindingWorth, ...], tuple[FindingCard, ...]]:
        """Return what each active finding took in the week, and the active ones without a price in energy."""
        priced, unpriced = [], []
        for stored in self._source.api_store.findings(self._pump.name, [State.ACTIVE]):
            card = current_card(self._source, stored, self._facts)
            worth = None
            if self._curve is not None and self._seen is not None and self._seen_in_week(card):
                worth = worth_of(stored.finding, self._curve, self._seen)
            if worth is None:
                unpriced.append(card)
                continue
            priced.append(
                FindingWorth(
                    card=card,
                    extra_kwh=worth.extra_kwh,
                    low_kwh=worth.low_kwh,
                    high_kwh=worth.high_kwh,
                    judged_share=worth.judged_share,
                    weeks_a_year=None if is_part(self._week) else WEEKS_A_YEAR,
                )
            )
        return tuple(priced), tuple(unpriced)

    def _seen_in_week(self, card: FindingCard) -> bool:
        """Return whether a finding stood in the week: what came after it cost nothing in it."""
        return card.first_utc_ms < self._week.end_utc_ms

    def controls(self) -> tuple[OtherControlRow, ...]:
        """Return the week's counted hours under other controls."""
        return tuple(self._controls())

    def _controls(self) -> Iterator[OtherControlRow]:
        constant = self._under(Mode.CONSTANT_PRESSURE)
        if constant is None:
            return
        tried = (
            constant,
            self._under(Mode.CONSTANT_PRESSURE, LOWER * constant.setpoint_m, LOWER_SETPOINT),
            self._under(Mode.PROPORTIONAL_PRESSURE),
            self._under(Mode.LEAST_SEEN),
        )
        yield from (row for row in tried if row is not None)

    def _under(self, mode: Mode, setpoint_m: float | None = None, name: str = "") -> OtherControlRow | None:
        if self._curve is None or self._seen is None:
            return None
        found = other_control(self._curve, self._seen, mode, setpoint_m)
        if found is None:
            return None
        return OtherControlRow(
            mode=name or mode.value,
            setpoint_m=found.setpoint_m,
            energy_kwh=found.energy_kwh,
            as_it_was_kwh=found.as_it_was_kwh,
            counted_share=found.counted_share,
            short_share=found.short_share,
        )


def yardsticks(week: EnergyWeek) -> Yardsticks | None:
    """Return a week's energy per volume beside the trade's yardsticks, ``None`` where nothing moved."""
    if week.kwh_per_m3 is None or not week.is_possible:
        return None
    return Yardsticks(
        w_per_gpm=w_per_gpm(week.kwh_per_m3),
        heating_w_per_gpm=HEATING_W_PER_GPM,
        cooling_w_per_gpm=COOLING_W_PER_GPM,
    )
