"""The room between the weather and the tent: where the air that is drawn in comes from.

A room follows the weather late and damped. Its air is drawn towards an equilibrium that lies
between the weather, the ground or the house around it, and is warmed by what the tent gives off:

    τ dT/dt = T_eq − T,      T_eq = s T_out + (1 − s) T_base + gain + R P_tent
    τ_w dw/dt = w_eq − w,    w_eq = w_out + source + m_tent/(ρ V n)

Both are stepped exactly over half an hour, within which weather and tent are taken as constant.
"""

from __future__ import annotations

from math import cos, exp, pi
from typing import TYPE_CHECKING, Literal, NamedTuple

from controller import air

if TYPE_CHECKING:
    from simulators.weather.series import Weather

Kind = Literal["room", "cellar", "closet", "attic"]

STEP_S = 1800.0
_YEAR_S = 365.2425 * 86_400.0
_HOTTEST_DAY_S = 200 * 86_400.0  # 19 July: a surface some metres deep lags, a wall hardly
_MOST_HUMID_PCT = 95.0  # beyond it, cold walls dry the air


class RoomPhysics(NamedTuple):
    """How a kind of room follows the weather. Engineering judgement throughout, no source.

    Attributes
    ----------
    lag_s, moisture_lag_s : float
        Time constants of temperature and humidity [s].
    outdoor_share : float
        How far a lasting change outdoors comes through, 0–1.
    base_c : float
        What it is held towards otherwise: the ground, or the house [°C].
    gain_k : float
        Sun and appliances [K].
    heated_to_c : float
        Heating keeps it from falling lower [°C].
    k_per_w : float
        Warming by each watt the tent gives off, in the long run [K/W].
    moisture_kg_kg : float
        Humidity ratio above outdoors from people, laundry, damp walls [kg/kg].
    air_kg_s : float
        Air it exchanges with outdoors [kg/s]; what the tent evaporates is spread over it.
    """

    lag_s: float
    moisture_lag_s: float
    outdoor_share: float
    base_c: float
    gain_k: float
    heated_to_c: float
    k_per_w: float
    moisture_kg_kg: float
    air_kg_s: float


_HOUR = 3600.0
KINDS: dict[Kind, RoomPhysics] = {
    # A spare room under a roof of its own floor, windows shut in the day, no air conditioning.
    "room": RoomPhysics(10 * _HOUR, 2 * _HOUR, 0.85, 21.0, 1.5, 18.0, 0.008, 0.0020, 0.020),
    "cellar": RoomPhysics(60 * _HOUR, 6 * _HOUR, 0.25, 14.0, 0.0, 8.0, 0.010, 0.0010, 0.010),
    # No outer wall: it follows the house, and keeps the tent's heat.
    "closet": RoomPhysics(14 * _HOUR, 2 * _HOUR, 0.60, 21.5, 1.5, 18.5, 0.016, 0.0020, 0.012),
    "attic": RoomPhysics(3 * _HOUR, 1 * _HOUR, 0.95, 15.0, 3.0, -30.0, 0.006, 0.0002, 0.040),
}


class Room:
    """The air around a tent.

    Parameters
    ----------
    kind : {"room", "cellar", "closet", "attic"}
        What sort of room.
    weather : Weather
        Outdoors.
    start_s : float
        Where to begin [Unix s]; the room is taken to have had the mean weather of the days before.
    pressure_pa : float
        Of the air [Pa].

    Attributes
    ----------
    air_c, ratio, humidity_pct : float
        Temperature [°C], humidity ratio [kg/kg] and relative humidity [%] at `at_s`.
    at_s : float
        How far the room has been carried on [Unix s].
    """

    __slots__ = (
        "_ageing",
        "_drying",
        "_physics",
        "_pressure_pa",
        "_weather",
        "air_c",
        "at_s",
        "humidity_pct",
        "ratio",
    )

    def __init__(self, kind: Kind, weather: Weather, start_s: float, pressure_pa: float) -> None:
        self._physics = physics = KINDS[kind]
        self._weather = weather
        self._pressure_pa = pressure_pa
        self._ageing = exp(-STEP_S / physics.lag_s)
        self._drying = exp(-STEP_S / physics.moisture_lag_s)
        # Run in from the middle of its lag, as far as there is weather before the start.
        run_in_s = min(4.0 * physics.lag_s, max(0.0, start_s - weather.times_s[0]))
        steps = int(run_in_s / STEP_S)
        self.at_s = start_s - steps * STEP_S
        day = [weather.at(self.at_s + i * 1800.0) for i in range(48)]
        self.air_c = self._towards_c(self.at_s, sum(t for t, _ in day) / 48.0, 0.0)
        self.ratio = self._ratio_of(sum(e for _, e in day) / 48.0) + physics.moisture_kg_kg
        self._see_humidity()
        for _ in range(steps):
            self.step()

    def step(self, tent_w: float = 0.0, tent_kg_s: float = 0.0) -> None:
        """Carry the room on by `STEP_S`.

        Parameters
        ----------
        tent_w, tent_kg_s : float
            Heat [W] and water [kg/s] that the tent gave to the room, on average over the step.
        """
        outdoor_c, vapour_pa = self._weather.at(self.at_s + 0.5 * STEP_S)
        end_c = self._towards_c(self.at_s, outdoor_c, tent_w)
        self.air_c = end_c + (self.air_c - end_c) * self._ageing
        end = (
            self._ratio_of(vapour_pa)
            + self._physics.moisture_kg_kg
            + tent_kg_s / self._physics.air_kg_s
        )
        self.ratio = end + (self.ratio - end) * self._drying
        self._see_humidity()
        self.at_s += STEP_S

    def _see_humidity(self) -> None:
        self.humidity_pct = air.humidity_pct_from_ratio(self.air_c, self.ratio, self._pressure_pa)
        if self.humidity_pct > _MOST_HUMID_PCT:
            self.humidity_pct = _MOST_HUMID_PCT
            self.ratio = air.humidity_ratio(self.air_c, _MOST_HUMID_PCT, self._pressure_pa)

    def _towards_c(self, at_s: float, outdoor_c: float, tent_w: float) -> float:
        p = self._physics
        # The ground's and the house's own slow year, a few kelvins either side.
        base_c = p.base_c + 2.0 * cos(2.0 * pi * (at_s - _HOTTEST_DAY_S) / _YEAR_S)
        end_c = p.outdoor_share * outdoor_c + (1.0 - p.outdoor_share) * base_c + p.gain_k
        return max(p.heated_to_c, end_c) + p.k_per_w * tent_w

    def _ratio_of(self, vapour_pa: float) -> float:
        return air.humidity_ratio_of_vapour_pressure(vapour_pa, self._pressure_pa)
