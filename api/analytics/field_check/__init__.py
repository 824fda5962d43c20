"""What gauges, a strap-on flow meter or a shutoff test say of a pump, with their uncertainty."""

from api.analytics.field_check.expected import SHEET_GRADES, Point
from api.analytics.field_check.gauges import GRADES, Gauge, Tap
from api.analytics.field_check.loss import Loss, Verdict, likely_causes
from api.analytics.field_check.reported import (
    Agreement,
    Beside,
    Reported,
    agreement,
    is_steady,
    reported,
    unit_mistake,
)
from api.analytics.field_check.total_head import HeadMeasured, total_head
from api.analytics.field_check.visit import FLOW_WITHIN, Found, Visit, found, losses

__all__ = [
    "FLOW_WITHIN",
    "GRADES",
    "SHEET_GRADES",
    "Agreement",
    "Beside",
    "Found",
    "Gauge",
    "HeadMeasured",
    "Loss",
    "Point",
    "Reported",
    "Tap",
    "Verdict",
    "Visit",
    "agreement",
    "found",
    "is_steady",
    "likely_causes",
    "losses",
    "reported",
    "total_head",
    "unit_mistake",
]
