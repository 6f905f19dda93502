"""What the simulated fan moves and draws at each speed: the operating point, worked out once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.airflow import FanCurve, electrical_power_w, operating_point
from controller.airflow.rig import Ducting as Ducting
from controller.airflow.system import LoadedSystem
from controller.display import flow
from controller.sizing.plan import MOTOR_HEAT_INTO_TENT
from controller.wording import assumed_power_words

if TYPE_CHECKING:
    from controller.config import Settings

# What stands in the tent, or in its air before that has left.
_INSIDE = ("both_inside", "fan_inside_filter_outside")
# Speeds are told apart to half a percent, so that a ramp doesn't fill the memory.
_SPEED_STEPS = 200
# A fan nobody described: a change of the tent's air every 40 s, at this pressure.
_UNKNOWN_CHANGE_S = 40.0
_UNKNOWN_PRESSURE_PA = 250.0


class Fan:
    """The fan with its duct.

    Parameters
    ----------
    settings : Settings
        The tent's.
    density_kg_m3 : float
        Of the air [kg/m³].

    Attributes
    ----------
    notes : tuple of str
        What had to be assumed, in the user's units.
    clogging : float
        How many times as much the filter resists as when new, ≥ 1.
    strength : float
        How many times the flow of its data sheet it moves.
    """

    def __init__(self, settings: Settings, density_kg_m3: float) -> None:
        ducting = Ducting.from_settings(settings)
        notes = []
        self._density = density_kg_m3
        if ducting.has_fan:
            self._curve = ducting.curve()
        else:
            free = settings.tent.volume_m3 / _UNKNOWN_CHANGE_S
            self._curve = FanCurve.from_two_points(free, _UNKNOWN_PRESSURE_PA)
            notes.append(
                "fan.free_flow isn't given; a fan of "
                f"{flow(free, settings.units)} with nothing attached is assumed"
            )
        self._system = ducting.system()
        power = ducting.power_w()
        if power is None:
            power = electrical_power_w(self._curve, 1.0, self._curve.density_kg_per_m3)
        if settings.fan.power_w is None:
            notes.append(assumed_power_words(power))
        self._power_w = power
        hangs_inside = ducting.arrangement in _INSIDE
        self._heat_share = MOTOR_HEAT_INTO_TENT.best if hangs_inside else 0.0
        self._flows: dict[int, float] = {}
        self._powers: dict[int, float] = {}
        self.notes = tuple(notes)
        self.clogging = 1.0
        self.strength = 1.0

    def clog(self, factor: float) -> None:
        """Set how many times as much the filter resists as when new."""
        if factor != self.clogging:
            self.clogging = factor
            self._flows.clear()

    def strengthen(self, factor: float) -> None:
        """Set how many times the flow of its data sheet the fan moves."""
        if factor != self.strength:
            self.strength = factor
            self._flows.clear()

    def flow_m3_s(self, speed: float) -> float:
        """Delivered flow at a speed of 0–1 [m³/s]."""
        key = round(speed * _SPEED_STEPS)
        solved = self._flows.get(key)
        if solved is None:
            self._solve(key)
            solved = self._flows[key]
        return solved

    def power_w(self, speed: float) -> float:
        """Electrical power at a speed of 0–1 [W]."""
        key = round(speed * _SPEED_STEPS)
        solved = self._powers.get(key)
        if solved is None:
            self._solve(key)
            solved = self._powers[key]
        return solved

    def heat_w(self, speed: float) -> float:
        """Heat the motor leaves in the tent at a speed of 0–1 [W]; 0 of a fan that hangs outside.

        A share of the power at this speed, as sizing takes it.
        """
        return self._heat_share * self.power_w(speed)

    def _solve(self, key: int) -> None:
        resistance = LoadedSystem(self._system, self.clogging)
        speed = key / _SPEED_STEPS
        point = operating_point(self._curve, resistance, speed, self._density, self._power_w)
        self._flows[key] = self.strength * point.flow_m3_s
        # By the cube of the speed, from the data sheet's figure as it is: as sizing and reviews do.
        self._powers[key] = self._power_w * speed**3
