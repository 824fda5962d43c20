"""How each number of a week is worked out, by the anchor that it has on the page of words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Formula:
    """A number, its formula, and what to know of it. Names with an underscore are columns of the hours."""

    name: str
    formula: str
    words: str


FORMULAS: Final[dict[str, Formula]] = {
    "energy": Formula(
        "Energy",
        "sum of energy_kwh",
        "Power integrated from reading to reading by the trapezoid rule, split at the hour. Time "
        "between readings further apart than the gap limit adds nothing.",
    ),
    "volume": Formula(
        "Volume",
        "sum of volume_m3",
        "Flow, integrated likewise.",
    ),
    "energy-per-volume": Formula(
        "Energy per volume",
        "sum of energy_with_flow_kwh / sum of volume_with_power_m3",
        "A ratio of sums over the time in which power and flow were both known. The mean of the "
        "hours' ratios is another number: where speed varies it can be several percent off.",
    ),
    "cost": Formula(
        "Cost",
        "energy × price_per_kwh",
        "The price stands in the site file.",
    ),
    "running": Formula(
        "Running",
        "sum of seconds_running_s / 3600",
        "Time in which the pump turned.",
    ),
    "starts": Formula(
        "Starts",
        "sum of starts",
        "Starts seen, or counted by the drive where it has a counter.",
    ),
    "mean-head": Formula(
        "Mean head",
        "sum of volume_times_head_m3_m / sum of volume_with_power_and_head_m3",
        "Weighted by volume: the head at which the water was lifted.",
    ),
    "wire-to-water": Formula(
        "Wire to water",
        "density × 9.80665 × sum of volume_times_head_m3_m / 3.6e6 / sum of energy_with_flow_and_head_kwh",
        "Work done on the water over energy taken, with the density that the site file's fluid has.",
    ),
    "with-readings": Formula(
        "With readings",
        "sum of seconds_seen_s / length of the week",
        "A week has 167 or 169 hours when clocks change in it.",
    ),
    "counter": Formula(
        "The drive's own counter",
        "sum of counter_rise_kwh, and from counter_last_kwh to the next counter_first_kwh",
        "It goes on while nobody reads, so it knows of gaps; a gap across the week's border is shared "
        "by time. A counter that falls from near a register's top rolled over and goes on; one that "
        "falls to about zero was set back and counts from there; of any other jump nothing is known "
        "across it. It is held against the integrated energy over whole hours that both know.",
    ),
    "why-it-changed": Formula(
        "Why it changed",
        "energy per volume = density × 9.80665 × mean head / (3.6e6 × place) × pump",
        "Pump is the energy taken over what the pump's own curve takes for the same flow and head, "
        "place the wire to water that the own curve reaches there. Each part is the logarithmic mean "
        "of both values times the logarithm of its factor's ratio, so that the parts add up without a "
        "remainder (logarithmic mean Divisia index; B. W. Ang, Energy Policy 33, 2005; from memory). "
        "Of several pumps a part is for which of them moved the water.",
    ),
    "worth": Formula(
        "What a finding is worth",
        "energy taken − energy of the own curve without the finding, over the hours where the curve "
        "was learned",
        "A loss of head: the same flow and head at the speed that would do without it. Power and "
        "drag: the share above the own curve. A rise of resistance: the head it takes, were all head "
        "friction, which is the most it can be. A year is 365.25 / 7 such weeks.",
    ),
    "other-control": Formula(
        "Another control",
        "sum over hours of energy × own power at the other head / own power at the head as it was",
        "Each hour keeps its flow; the other control holds another head; the speed for it follows "
        "from the own curve, scaled to the pump as it is now. Hours whose new duty lies outside the "
        "learned region are not counted, neither then nor now.",
    ),
    "yardsticks": Formula(
        "Power per flow",
        "energy per volume × 227.1 W per gpm for each kWh/m³",
        "19 and 22 W per gpm are design values of hot- and chilled-water plants in the baseline "
        "building of ASHRAE 90.1, from memory. A week's mean is not a design flow.",
    ),
}
