"""The ways to hold a shape in one operation."""

from palletwright.grip.generate import grips
from palletwright.grip.model import Contact, Device, Grip, Relief
from palletwright.grip.reliefs import relieved

__all__ = ["Contact", "Device", "Grip", "Relief", "grips", "relieved"]
