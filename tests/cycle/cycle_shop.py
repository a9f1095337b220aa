"""The small mill that the cycle tests run on."""

from __future__ import annotations

from palletwright.shop.model import Cylinder, Machine, RotaryAxis, Travel


def machine(chip_to_chip: float = 4.0, index: float = 2.0) -> Machine:
    return Machine(
        id="small mill",
        travel=Travel(x=(-400, 400), y=(-250, 250), z=(100, 700)),
        table=(900, 450),
        table_payload=500,
        door=800,
        spindle_speed=10000,
        spindle_power=15,
        spindle_torque=90,
        taper="40",
        nose=(Cylinder(diameter=80, length=100),),
        chip_to_chip=chip_to_chip,
        rapid=(30000, 30000, 24000),
        acceleration=(3, 3, 3),
        magazine=24,
        rate=60,
        rotary=RotaryAxis(
            centre_height=200,
            swing_radius=180,
            between=500,
            faceplate_at=(-300, 0),
            brake_torque=400,
            payload=150,
            index_time=index,
        ),
    )
