"""The maker's printed curve as typed in: to look at while there is no own curve, never to judge by."""

from __future__ import annotations

import numpy as np
import pandas as pd

from api.analytics.curve import Curve
from api.answers.curve_lines import speeds_rpm
from collector.site import Pump
from dashboards.views import DataSheetPicture


def data_sheet_picture(pump: Pump, curve: Curve | None, points: pd.DataFrame) -> DataSheetPicture | None:
    """Return the data sheet as it is drawn, ``None`` when the site file has none.

    Until a curve is learned it is drawn at a few of the speeds seen in ``points``, else at rated speed alone.
    """
    sheet = sorted(pump.data_sheet, key=lambda point: point.flow_m3h)
    if not sheet:
        return None
    rated = pump.rated_speed_rpm
    seen = speeds_rpm(points) if curve is None and rated is not None else []
    powers = [point.power_w for point in sheet if point.power_w is not None]
    return DataSheetPicture(
        flow_m3h=np.array([point.flow_m3h for point in sheet]),
        head_m=np.array([point.head_m for point in sheet]),
        power_w=np.array(powers if len(powers) == len(sheet) else [], dtype=np.float64),
        rated_speed_rpm=rated,
        speeds_rpm=tuple(seen) or ((rated,) if rated is not None else ()),
    )


def against_data_sheet(pump: Pump, curve: Curve | None) -> float | None:
    """Return the own curve's head over the data sheet's, minus one [-], at the usual flow over speed.

    ``None`` without a curve, a rated speed or a point of the sheet on each side of that flow: nothing is
    carried on beyond what the maker printed.
    """
    if curve is None or pump.rated_speed_rpm is None or not pump.data_sheet:
        return None
    flow = curve.typical_flow_m3h / curve.typical_speed_rpm * pump.rated_speed_rpm
    printed = sorted((point.flow_m3h, point.head_m) for point in pump.data_sheet)
    flows, heads = np.array(printed).T
    head = float(np.interp(flow, flows, heads, left=np.nan, right=np.nan))
    return float(curve.head_m(flow, pump.rated_speed_rpm)) / head - 1 if head > 0 else None
