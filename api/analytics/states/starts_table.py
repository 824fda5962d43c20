"""How often a line-started motor may start: a familiar upper bound, used where nobody stated a limit."""

from __future__ import annotations

from typing import Final

from api.analytics.facts import PumpFacts

_WATTS_A_HORSEPOWER: Final = 745.6998716
_COMMON_LIMIT_PER_H: Final = 6.0
"""Beyond six starts an hour something is usually wrong with a building's pump (common practice)."""

# Maximum starts an hour (column A) of Design A and B motors with 2, 4 and 6 poles by rated power [hp]:
# NEMA MG 10, Table 2-3, as quoted value for value by two independent documents. It holds for motors
# started across the line; a drive starts them softly, so it is an upper bound here and no limit of theirs.
_STARTS_PER_H: Final[tuple[tuple[float, float, float, float], ...]] = (
    (1, 15.0, 30.0, 34.0),
    (2, 11.5, 23.0, 26.1),
    (3, 9.9, 19.8, 22.4),
    (5, 8.1, 16.3, 18.4),
    (7.5, 7.0, 13.9, 15.8),
    (10, 6.2, 12.5, 14.2),
    (15, 5.4, 10.7, 12.1),
    (20, 4.8, 9.6, 10.9),
    (25, 4.4, 8.8, 10.0),
    (30, 4.1, 8.2, 9.3),
    (50, 3.4, 6.8, 7.7),
    (75, 2.9, 5.8, 6.6),
    (100, 2.6, 5.2, 5.9),
    (250, 1.8, 3.7, 4.2),
)
_TWO_POLES_FROM_RPM: Final = 2200.0
_FOUR_POLES_FROM_RPM: Final = 1300.0


def published_starts_per_hour(power_w: float, speed_rpm: float | None) -> float:
    """Return the published most starts an hour for a motor of this size [1/h].

    ``power_w`` is the rated power [W], ``speed_rpm`` the rated speed [rpm] that tells the poles; without
    one, two poles, the lowest. Between two sizes the larger one's, lower value holds.

    >>> published_starts_per_hour(25 * 745.7, 1760)
    8.8
    """
    horsepower = power_w / _WATTS_A_HORSEPOWER
    row = next((row for row in _STARTS_PER_H if row[0] >= horsepower * 0.999), _STARTS_PER_H[-1])
    return row[_column(speed_rpm)]


def _column(speed_rpm: float | None) -> int:
    if speed_rpm is None or speed_rpm >= _TWO_POLES_FROM_RPM:
        return 1
    return 2 if speed_rpm >= _FOUR_POLES_FROM_RPM else 3


def is_common_practice_alone(facts: PumpFacts) -> bool:
    """Return whether nothing stands behind the limit but common practice: no person, no motor's size."""
    return facts.starts_per_hour_limit is None and facts.rated_power_w is None


def starts_limit_per_hour(facts: PumpFacts) -> float:
    """Return the limit that holds for this pump [1/h]: the stated one, else that of the published table.

    Where the motor's size is not known either, common practice's six stand in for it.
    """
    if facts.starts_per_hour_limit is not None:
        return facts.starts_per_hour_limit
    if facts.rated_power_w is None:
        return _COMMON_LIMIT_PER_H
    return published_starts_per_hour(facts.rated_power_w, facts.rated_speed_rpm)
