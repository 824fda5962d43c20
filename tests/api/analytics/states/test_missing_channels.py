"""A drive that reports only some quantities gives fewer findings, never a stumble.

Warnings are errors in these tests, so an arithmetic on nothing would fail here.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.hours import hour_rows
from api.analytics.states import fast_findings
from collector.quantities import QUANTITY_NAMES
from simulator.plant import CurveSpec, Fault, PumpSpec, build_pump

DAY_MS = 86_400_000
START_UTC_MS = 20_000 * DAY_MS
CHANNELS = ("speed_rpm", "power_w", "flow_m3h", "head_m")
MEASURED = Provenance.MEASURED
FACTS = PumpFacts(pump="P1", speed=MEASURED, power=MEASURED, flow=MEASURED, head=MEASURED, interval_s=60.0)


@pytest.fixture(scope="module")
def airy() -> pd.DataFrame:
    """Eight days of a pump with air in the last two, (n, 13)."""
    air = Fault(kind="air", start_utc_ms=START_UTC_MS + 6 * DAY_MS, severity=0.05, period_s=2700.0)
    curve = CurveSpec(best_flow_m3h=30.0, best_head_m=12.0, rated_power_w=2200.0)
    times = START_UTC_MS + np.arange(0, 8 * DAY_MS, 60_000, dtype=np.int64)
    reported = build_pump(PumpSpec(name="P1", curve=curve, faults=(air,)), 1).advance(times).reported
    index = pd.Index(times, name="time_utc_ms")
    return pd.DataFrame({name: reported[name] for name in QUANTITY_NAMES}, index=index)


@pytest.mark.parametrize(
    "missing", [set(some) for count in (1, 2, 3, 4) for some in combinations(CHANNELS, count)]
)
def test_a_missing_channel_is_no_stumble(airy: pd.DataFrame, missing: set[str]) -> None:
    frame = airy.assign(**dict.fromkeys(missing, np.nan))
    curve = learn_curve(hour_rows(frame, FACTS), FACTS)
    assert all(finding.pump == "P1" for finding in fast_findings(frame, curve, FACTS))


def test_the_whole_frame_shows_the_air_so_that_there_is_something_to_miss(airy: pd.DataFrame) -> None:
    curve = learn_curve(hour_rows(airy, FACTS), FACTS)
    assert "air_binding" in {str(finding.kind) for finding in fast_findings(airy, curve, FACTS)}
