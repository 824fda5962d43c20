"""How fast simulated time passes: sixty days of one pump at one-minute steps.

Run by name: ``pytest -n 0 tests/bench_plant.py``. The ratio is to one pass of numpy over the times.
"""

from __future__ import annotations

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from simulator.plant import ControlSpec, PumpSpec, SensorSpec, build_pump
from simulator.plant.spec import Mode, Provenance

TIMES = 1_760_000_000_000 + 60_000 * np.arange(60 * 1440, dtype=np.int64)


@pytest.mark.parametrize("provenance", ["measured", "estimated"])
@pytest.mark.parametrize("mode", ["constant_speed", "constant_differential_pressure"])
def test_sixty_days(benchmark: BenchmarkFixture, mode: Mode, provenance: Provenance) -> None:
    control = ControlSpec(mode=mode, setpoint=0.9 if mode == "constant_speed" else 6.0)
    spec = PumpSpec(control=control, sensor=SensorSpec(provenance=provenance))
    signals = benchmark(lambda: build_pump(spec, 1).advance(TIMES))
    assert len(signals.reported["flow_m3h"]) == len(TIMES)


def test_one_square_root_for_scale(benchmark: BenchmarkFixture) -> None:
    times = TIMES.astype(np.float64)
    assert len(benchmark(np.sqrt, times)) == len(TIMES)
