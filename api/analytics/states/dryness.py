"""What power alone tells of the water in a casing, where a drive estimates flow and head from that power.

A pump without water takes its losses and a part of what stirs water at no flow. How much that is has to be
extrapolated from the flows it has seen, and one that always runs at the same duty has seen few; so near the
usual speed the share of *duty* power decides, and far below it, where losses outweigh the water, that of
zero-flow power. Tuned on the simulated families A to C and K to P: 180 dry runs, 180 closed discharges.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from api.analytics.states.own_curve import Floats, OwnCurve, usual_flow_over_speed
from api.analytics.states.track import Mask

_OF_ZERO_FLOW: Final = 0.62
"""Of what zero flow takes beyond losses: water in the casing takes all of it to stir, air little (tuned)."""
_OF_ZERO_FLOW_NEAR_USUAL: Final = 0.8
"""Where duty power decides, this one only has to agree."""
_OF_DUTY_NEAR_USUAL: Final = 0.29
"""Of what duty takes beyond losses: dry 0.285 at most, against a closed valve 0.297 at least (tuned)."""
_OF_DUTY_WITH_LOSSES: Final = 0.54
"""Of duty power, a second bar: dry 0.49 at most; a closed valve mostly takes more (tuned)."""
_NEAR_USUAL_SPEED: Final = 0.75
_LEAST_LOSSES: Final = 0.07
"""Of duty power: no motor and drive lose less, whatever the curve's constant terms say (common practice)."""


def is_dry_by_power(power_w: Floats, speed_rpm: Floats, curve: OwnCurve) -> Mask:
    """Return where power [W] (n,) at speed [rpm] (n,), without flow, is too little for water inside."""
    duty_w = np.maximum(curve.power_w(usual_flow_over_speed(curve) * speed_rpm, speed_rpm), 1e-9)
    losses_w, stirring_w = _losses_w(curve, speed_rpm), curve.power_w(0.0, speed_rpm)
    of_zero_flow = _beyond(power_w, losses_w, stirring_w)
    of_duty = _beyond(power_w, np.maximum(losses_w, _LEAST_LOSSES * duty_w), duty_w)
    near = (of_duty < _OF_DUTY_NEAR_USUAL) & (of_zero_flow < _OF_ZERO_FLOW_NEAR_USUAL)
    far = (of_zero_flow < _OF_ZERO_FLOW) & (power_w < _OF_DUTY_WITH_LOSSES * duty_w)
    dry: Mask = np.where(speed_rpm >= _NEAR_USUAL_SPEED * curve.typical_speed_rpm, near, far)
    return dry


def _beyond(power_w: Floats, losses_w: Floats, whole_w: Floats) -> Floats:
    """Return what power is beyond losses, as a share of what the whole is beyond them [-], (n,)."""
    share: Floats = (power_w - losses_w) / np.maximum(whole_w - losses_w, 0.01 * np.maximum(whole_w, 1e-9))
    return share


def _losses_w(curve: OwnCurve, speed_rpm: Floats) -> Floats:
    """Return the losses at these speeds [W], (n,).

    Zero-flow power is ``d n³ + g n + h``, losses are ``g n + h``; so three speeds tell them apart.
    """
    whole, half, rest = (curve.power_w(0.0, speed_rpm * part) for part in (1.0, 0.5, 0.0))
    losses: Floats = np.clip((8.0 * half - whole - 7.0 * rest) / 3.0 + rest, 0.0, np.maximum(whole, 0.0))
    return losses
