"""Drives of our own invention: their register tables and how they answer."""

from simulator.drives.drive import Drive
from simulator.drives.maps import MAPS, manual, manuals
from simulator.drives.panel import PanelLine, panel_of_map
from simulator.drives.random_maps import RandomMap, random_drive_map
from simulator.drives.registers import DriveMap, Image, Register, image_of

__all__ = [
    "MAPS",
    "Drive",
    "DriveMap",
    "Image",
    "PanelLine",
    "RandomMap",
    "Register",
    "image_of",
    "manual",
    "manuals",
    "panel_of_map",
    "random_drive_map",
]
