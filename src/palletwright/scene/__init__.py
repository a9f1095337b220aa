"""Bodies with poses in the machine: frames, what stands where, and how it turns."""

from palletwright.scene.build import Placed, PlacedStation, StationBody, axis_vector, build, rotary_pose
from palletwright.scene.model import Body, Mount, Scene
from palletwright.scene.solids import box, cylinder
from palletwright.scene.turn import TILT, index_angle, rotation, turned, turning

__all__ = [
    "TILT",
    "Body",
    "Mount",
    "Placed",
    "PlacedStation",
    "Scene",
    "StationBody",
    "axis_vector",
    "box",
    "build",
    "cylinder",
    "index_angle",
    "rotary_pose",
    "rotation",
    "turned",
    "turning",
]
