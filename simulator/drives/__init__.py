"""Drives of our own invention: their register tables and how they answer."""

from simulator.drives.drive import Drive
from simulator.drives.maps import MAPS, manual, manuals
from simulator.drives.registers import DriveMap, Image, Register, image_of

__all__ = ["MAPS", "Drive", "DriveMap", "Image", "Register", "image_of", "manual", "manuals"]
