"""Fan and duct: curve, losses, operating point. Pure, standard library only, SI.

>>> curve = FanCurve.from_two_points(free_flow_m3_s=0.08, max_pressure_pa=300.0)
>>> system = System(duct=Duct(diameter_m=0.125, length_m=3.0, bends=2))
>>> 0.06 < operating_point(curve, system).flow_m3_s < 0.08
True
"""

from controller.airflow.assumed_fan import rig_with_fan
from controller.airflow.fans import FanCurve, at_speed_and_density
from controller.airflow.operating import OperatingPoint, electrical_power_w, operating_point
from controller.airflow.rig import ARRANGEMENTS, Arrangement, Ducting
from controller.airflow.span import Assumption, Span
from controller.airflow.system import Duct, Filter, System

__all__ = [
    "ARRANGEMENTS",
    "Arrangement",
    "Assumption",
    "Duct",
    "Ducting",
    "FanCurve",
    "Filter",
    "OperatingPoint",
    "Span",
    "System",
    "at_speed_and_density",
    "electrical_power_w",
    "operating_point",
    "rig_with_fan",
]
