"""A small spindle, two materials and the tools of a canoe-trailer fittings shop."""

from __future__ import annotations

from palletwright.shop.model import Cutter, Cylinder, Holder, Machine, Tool, Travel

HOLDER = Holder(id="H", taper="BT40", stack=(Cylinder(diameter=40, length=60),), bore=(3, 60))


def tool(kind: str, dc: float, **more: object) -> Tool:
    stick_out = float(more.pop("stick_out", 3 * dc))  # type: ignore[arg-type]
    cutter = {"id": "C", "kind": kind, "DC": dc, "LU": 3 * dc, "LCF": 2 * dc, "DMM": dc, "OAL": 30 * dc} | more
    return Tool(number=1, cutter=Cutter(**cutter), holder=HOLDER, stick_out=stick_out)  # type: ignore[arg-type]


def machine(**more: object) -> Machine:
    values = {
        "id": "M", "travel": Travel(x=(-400, 400), y=(-200, 200), z=(100, 600)), "table": (900, 400),
        "table_payload": 400, "door": 800, "spindle_speed": 10000, "spindle_power": 11, "spindle_torque": 70,
        "taper": "BT40", "nose": (Cylinder(diameter=100, length=100),), "chip_to_chip": 4, "rapid": (3e4, 3e4, 3e4),
        "acceleration": (4, 4, 4), "magazine": 20, "rate": 50,
    }  # fmt: skip
    return Machine(**(values | more))  # type: ignore[arg-type]
