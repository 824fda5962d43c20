"""Work that falls due by run hours or by the calendar."""

from api.analytics.upkeep.due import Due, State, Task, due
from api.analytics.upkeep.grease import grease_g

__all__ = ["Due", "State", "Task", "due", "grease_g"]
