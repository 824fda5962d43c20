"""What the page of thresholds is told: frozen facts, ready to be worded and drawn."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.views import PageFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class ThresholdRow:
    """What a pair of limits does: raised from ``notice`` [-] off and ``evidence_sd`` standard errors on.

    Delays in days, ``None`` where that share of the ``trials`` was not raised in time. False alarms a
    pump-year with their exact 95 % interval, ``high`` infinite without any quiet day.
    """

    notice: float
    evidence_sd: float
    is_set: bool
    trials: int
    found: int
    median_days: float | None
    p90_days: float | None
    false_alarms: int
    pump_years: float
    rate: float
    rate_low: float
    rate_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ThresholdPage:
    """Thresholds of one pump for a loss of ``loss`` [-] of head.

    ``own`` holds this pump's delays, ``site`` those of the ``pumps`` of the site that were worked out so far;
    both are empty until ``is_ready``. ``quiet_days`` are the pump's own,
    ``look_days`` how long each trial waited, 0 where the history is too short for trials.
    ``is_doubted`` holds while the readings contradict that flow and head are measured.
    """

    frame: PageFrame
    pump: str
    loss: float
    can_be_judged: bool
    is_doubted: bool = False
    is_ready: bool
    pumps: int
    own: tuple[ThresholdRow, ...] = ()
    site: tuple[ThresholdRow, ...] = ()
    quiet_days: int = 0
    look_days: int = 0
    most_evidence_sd: float = 0.0

    @property
    def delays_are_of_site(self) -> bool:
        """Whether only the other pumps have a history that is long enough to try a loss in."""
        return not self.look_days and any(row.trials for row in self.site)

    @property
    def has_delays(self) -> bool:
        """Whether a loss could be tried at all."""
        return any(row.trials for row in self.delays)

    @property
    def delays(self) -> tuple[ThresholdRow, ...]:
        """The rows whose delays are shown: this pump's own, or the site's while it has none."""
        return self.site if self.delays_are_of_site else self.own
