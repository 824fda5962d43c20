"""Pump physics of the simulator: curves, systems, control, faults, sensors; numpy only."""

from simulator.plant.pump import PumpPlant, Signals, build_pump
from simulator.plant.spec import (
    ControlSpec,
    CurveSpec,
    Fault,
    FaultKind,
    PumpSpec,
    SensorSpec,
    SystemSpec,
)

__all__ = [
    "ControlSpec",
    "CurveSpec",
    "Fault",
    "FaultKind",
    "PumpPlant",
    "PumpSpec",
    "SensorSpec",
    "Signals",
    "SystemSpec",
    "build_pump",
]
