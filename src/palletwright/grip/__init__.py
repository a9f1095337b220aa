"""The ways to hold a shape in one operation."""

from palletwright.grip.generate import grips
from palletwright.grip.model import Contact, Device, Grip

__all__ = ["Contact", "Device", "Grip", "grips"]
