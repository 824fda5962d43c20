"""Hour rows as observations of the pump model: which hours may judge, and what each says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.flow_range import at_flow_range
from api.analytics.spans import DAY_MS

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST_READINGS: Final = 3
"""An hour with fewer trusted readings says little and may be all start-up, unless its log has no more."""

LEAST_SHARE: Final = 0.25
"""Hours with less than this share of their running readings trusted are left out: mostly transients.

A share of the hour's own readings, so that history every ten minutes counts beside live ten seconds; of those
in which the pump ran, so that a pump that cycles all day is known by what is steady in each run."""

LEAST_RUNNING_S: Final = 300.0
"""An hour in which the pump ran for less holds little besides a start."""

WHOLE_HOUR_S: Final = 3599.0
"""An hour seen for so long has no gap; a second is for rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """Mean regressors and mean head and power of the hours that may judge; arrays of one length.

    ``head_terms`` [hours, 3] holds the means of n², nQ, Q²; ``power_terms`` [hours, 5] those of n³, n²Q,
    nQ², n, 1. ``speed_rpm``, ``flow_m3h``, ``head_m``, ``power_w`` and ``fluid_temperature_c`` (NaN where
    unknown) are means over the trusted readings of the hour. ``head_variance_m2`` and ``power_variance_w2``
    are the hour's scatter that speed and flow do not explain. ``head_moments`` [hours, 3, 3] are the
    covariances within the hour of speed, flow and head, ``power_moments`` those of speed, flow and power.
    ``day`` counts UTC days since 1970.
    """

    hour_utc_ms: IntArray
    day: IntArray
    head_terms: FloatArray
    power_terms: FloatArray
    speed_rpm: FloatArray
    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray
    fluid_temperature_c: FloatArray
    head_variance_m2: FloatArray
    power_variance_w2: FloatArray
    head_moments: FloatArray
    power_moments: FloatArray
    readings: FloatArray

    def __len__(self) -> int:
        return len(self.hour_utc_ms)

    def where(self, mask: NDArray[np.bool_]) -> Observations:
        """Return the observations under the mask."""
        return Observations(**{name: getattr(self, name)[mask] for name in self.__slots__})


def observations(hours: pd.DataFrame) -> Observations:
    """Return the hours with enough trusted readings as observations, in order of time.

    ``hours`` are of whole days: hours at the top of the flow meter's range are told by their day.
    """
    day = hours.index.to_numpy(dtype=np.int64) // DAY_MS
    return _of(hours[enough(hours) & ~at_flow_range(hours, day)])


def enough(hours: pd.DataFrame) -> NDArray[np.bool_]:
    """Mask the hours with enough trusted readings among those in which the pump ran.

    A log with one or two readings an hour is taken as it is: an hour counts if it has no gap and all its
    readings are trusted.
    """
    trusted, readings = (hours[name].to_numpy(dtype=float) for name in ("n_trusted", "readings"))
    seen, ran = (hours[name].to_numpy(dtype=float) for name in ("seconds_seen", "seconds_running"))
    while_running = readings * np.divide(ran, seen, out=np.ones(len(seen)), where=seen > 0)
    all_of_few = (trusted > 0) & (trusted == readings) & (seen >= WHOLE_HOUR_S)
    steady = (trusted >= LEAST_SHARE * while_running) & (ran >= LEAST_RUNNING_S)
    return np.asarray(steady & ((trusted >= LEAST_READINGS) | all_of_few))


def running_hours(hours: pd.DataFrame) -> int:
    """Count the hours there were to judge: those in which the pump ran for a quarter of the time or more.

    A shorter run counts where it is steady enough to be judged.
    """
    long = hours["seconds_running"].to_numpy(dtype=float) >= LEAST_SHARE * 3600
    return int((long | enough(hours)).sum())


def _of(hours: pd.DataFrame) -> Observations:
    count = hours["n_trusted"].to_numpy(dtype=float)
    sums = [name for name in hours.columns if name.startswith("sum_")]
    mean = {name.removeprefix("sum_"): hours[name].to_numpy(dtype=float) / count for name in sums}
    warm = hours["n_temperature"].to_numpy(dtype=float)
    temperature = np.divide(
        hours["sum_temperature_c"].to_numpy(dtype=float), warm, out=np.full(len(warm), np.nan), where=warm > 0
    )
    hour_utc_ms = hours.index.to_numpy(dtype=np.int64)
    return Observations(
        hour_utc_ms=hour_utc_ms,
        day=hour_utc_ms // DAY_MS,
        head_terms=np.column_stack([mean["n2"], mean["nq"], mean["q2"]]),
        power_terms=np.column_stack([mean["n3"], mean["n2q"], mean["nq2"], mean["n"], np.ones(len(count))]),
        speed_rpm=mean["n"],
        flow_m3h=mean["q"],
        head_m=mean["h"],
        power_w=mean["p"],
        fluid_temperature_c=temperature,
        head_variance_m2=_unexplained(mean, "h", count),
        power_variance_w2=_unexplained(mean, "p", count),
        head_moments=_moments(mean, "h"),
        power_moments=_moments(mean, "p"),
        readings=count,
    )


def _moments(mean: dict[str, FloatArray], channel: str) -> FloatArray:
    first = np.column_stack([mean["n"], mean["q"], mean[channel]])
    nn, nq, qq = mean["n2"], mean["nq"], mean["q2"]
    yn, yq, yy = mean[f"{channel}n"], mean[f"{channel}q"], mean[2 * channel]
    second = np.stack([nn, nq, yn, nq, qq, yq, yn, yq, yy], axis=-1).reshape(-1, 3, 3)
    return np.asarray(second - first[:, :, None] * first[:, None, :])


def _unexplained(mean: dict[str, FloatArray], channel: str, count: FloatArray) -> FloatArray:
    # Scatter left when the channel is regressed on speed and flow within the hour, from second moments.
    n, q, y = mean["n"], mean["q"], mean[channel]
    nn, qq, nq = mean["n2"] - n * n, mean["q2"] - q * q, mean["nq"] - n * q
    yy, yn, yq = (mean[f"{channel}{other}"] - y * m for other, m in ((channel, y), ("n", n), ("q", q)))
    # Sensor steps bound what the hour can tell, so a speed that hardly moves explains nothing.
    nn, qq = nn + (1e-4 * n) ** 2, qq + (1e-4 * q) ** 2
    explained = (yn**2 * qq - 2 * yn * yq * nq + yq**2 * nn) / (nn * qq - nq * nq)
    # Mean, speed and flow each take a degree of freedom.
    return np.clip(yy - explained, 0.0, None) * count / np.maximum(count - 3, 1)
