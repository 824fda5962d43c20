"""What gauges, a strap-on flow meter or a shutoff test say of a pump, with their uncertainty."""

from api.analytics.field_check.gauges import Gauge, Tap
from api.analytics.field_check.total_head import HeadMeasured, total_head

__all__ = ["Gauge", "HeadMeasured", "Tap", "total_head"]
