"""The room between the weather and the tent: where the air that is drawn in comes from.

A room follows the weather late and damped. Its air is drawn towards an equilibrium that lies
between the weather, the ground or the house around it, and is warmed by what the tent gives off:

    τ dT/dt = T_eq − T,      T_eq = s T_out + (1 − s) T_base + gain + R P_tent
    τ_w dw/dt = w_eq − w,    w_eq = w_out + source + m_tent/(ρ V n)

Both are stepped exactly over half an hour or less, within which the weather is taken as constant
and what the tent gives off as spread evenly. So the room holds τ/R joules for each kelvin, and
τ_w ρ V n kilograms of vapour for each unit of humidity ratio; `RoomBooks` has what came and went.
"""

from __future__ import annotations

from dataclasses import dataclass
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

    @property
    def heat_j_k(self) -> float:
        """What it holds for each kelvin [J/K]."""
        return self.lag_s / self.k_per_w

    @property
    def air_kg(self) -> float:
        """What it holds for each unit of humidity ratio [kg]: air, and what walls take up."""
        return self.air_kg_s * self.moisture_lag_s


@dataclass(slots=True)
class RoomBooks:
    """What came into a room and went out of it since its start.

    Attributes
    ----------
    tent_j, tent_kg : float
        From the tent [J], [kg].
    heating_j : float
        From the heating that keeps it from getting colder [J].
    lost_j, lost_kg : float
        To outdoors, ground and house, less what came from there [J], [kg].
    condensed_kg : float
        Vapour that cold walls took [kg].
    """

    tent_j: float = 0.0
    tent_kg: float = 0.0
    heating_j: float = 0.0
    lost_j: float = 0.0
    lost_kg: float = 0.0
    condensed_kg: float = 0.0


class RoomState(NamedTuple):
    """Air of a room: temperature [°C], humidity ratio [kg/kg] and relative humidity [%]."""

    air_c: float
    ratio: float
    humidity_pct: float


class Pull(NamedTuple):
    """Where weather, ground and house draw a room in a step of it, and how far.

    Attributes
    ----------
    held_c, free_c : float
        Towards which temperature, without the heating and with it [°C].
    ratio : float
        Towards which humidity ratio [kg/kg].
    ageing, drying : float
        What the step leaves of a difference to these.
    """

    held_c: float
    free_c: float
    ratio: float
    ageing: float
    drying: float


class Response(NamedTuple):
    """What a tent is expected to give to its room in a step, by how the room changes in it.

    It gives `steady`, less `per_unit` times the mean over the step, less `stored` times the rise
    from `start` to its end.

    Attributes
    ----------
    steady, per_unit : float
        For heat [W], [W/K]; for water [kg/s], [kg/s] for each unit of humidity ratio.
    stored : float
        For heat [W/K]: J/K over the length of the step; for water likewise [kg/s].
    start : float
        The air around the tent at the beginning of the step [°C], [kg/kg].
    """

    steady: float
    per_unit: float
    stored: float
    start: float


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
    step_s : float
        How far `step` carries it on, at first [s].

    Attributes
    ----------
    step_s : float
        How far the next `step` carries it on; see `set_step` [s].
    air_c, ratio, humidity_pct : float
        Temperature [°C], humidity ratio [kg/kg] and relative humidity [%] at `at_s`.
    at_s : float
        How far the room has been carried on [Unix s].
    physics : RoomPhysics
        That of its kind.
    books : RoomBooks
        From the start on.
    """

    __slots__ = (
        "_pressure_pa",
        "_pull",
        "_weather",
        "air_c",
        "at_s",
        "books",
        "humidity_pct",
        "physics",
        "ratio",
        "step_s",
    )

    def __init__(
        self,
        kind: Kind,
        weather: Weather,
        start_s: float,
        pressure_pa: float,
        step_s: float = STEP_S,
    ) -> None:
        self.physics = physics = KINDS[kind]
        self.step_s = step_s
        self.books = RoomBooks()
        self._weather = weather
        self._pressure_pa = pressure_pa
        # Run in from the middle of its lag, as far as there is weather before the start.
        run_in_s = min(4.0 * physics.lag_s, max(0.0, start_s - weather.times_s[0]))
        steps = int(run_in_s / step_s)
        self.at_s = start_s - steps * step_s
        day = [weather.at(self.at_s + i * 1800.0) for i in range(48)]
        self.air_c = max(*self._held_c(self.at_s, sum(t for t, _ in day) / 48.0))
        self.ratio = self._ratio_of(sum(e for _, e in day) / 48.0) + physics.moisture_kg_kg
        self._dry_on_walls()
        self._pull = self._pull_of_next_step()
        for _ in range(steps):
            self.step()
        self.books = RoomBooks()

    def set_step(self, step_s: float) -> None:
        """Set the length of the next steps [s]."""
        self.step_s = step_s
        self._pull = self._pull_of_next_step()

    def step(self, tent_w: float = 0.0, tent_kg_s: float = 0.0) -> None:
        """Carry the room on by `step_s`.

        Parameters
        ----------
        tent_w, tent_kg_s : float
            Heat [W] and water [kg/s] that the tent gave to the room, on average over the step.
        """
        p, books, step_s = self.physics, self.books, self.step_s
        held_c, free_c, vented, ageing, drying = self._pull
        end_c, end = free_c + p.k_per_w * tent_w, vented + tent_kg_s / p.air_kg_s
        was_c, was = self.air_c, self.ratio
        self.air_c = end_c + (was_c - end_c) * ageing
        self.ratio = end + (was - end) * drying
        books.tent_j += tent_w * step_s
        books.tent_kg += tent_kg_s * step_s
        # By the mean of the exponential on the way, times what passes for each unit.
        mean_c = end_c + (was_c - end_c) * (1.0 - ageing) * p.lag_s / step_s
        mean = end + (was - end) * (1.0 - drying) * p.moisture_lag_s / step_s
        books.heating_j += (free_c - held_c) / p.k_per_w * step_s
        books.lost_j += (mean_c - held_c) / p.k_per_w * step_s
        books.lost_kg += (mean - vented) * p.air_kg_s * step_s
        self._dry_on_walls()
        self.at_s += step_s
        self._pull = self._pull_of_next_step()

    def expected(self, heat: Response, water: Response) -> RoomState:
        """Say where the next step will lead, if the tent gives off what is expected of it.

        What it gives depends on where the step leads: solved for that, so that neither a strong
        fan nor thirsty air can make room and tent swing against each other. Books and room stay.
        """
        p = self.physics
        _, free_c, vented, ageing, drying = self._pull
        by_w = (1.0 - ageing) * p.k_per_w
        by_kg_s = (1.0 - drying) / p.air_kg_s
        air_c = _led_to(free_c + (self.air_c - free_c) * ageing, by_w, heat)
        ratio = _led_to(vented + (self.ratio - vented) * drying, by_kg_s, water)
        ratio = max(0.0, ratio)
        humidity_pct = air.humidity_pct_from_ratio(air_c, ratio, self._pressure_pa)
        if humidity_pct > _MOST_HUMID_PCT:
            humidity_pct = _MOST_HUMID_PCT
            ratio = air.humidity_ratio(air_c, _MOST_HUMID_PCT, self._pressure_pa)
        return RoomState(air_c, ratio, humidity_pct)

    def _dry_on_walls(self) -> None:
        self.humidity_pct = air.humidity_pct_from_ratio(self.air_c, self.ratio, self._pressure_pa)
        if self.humidity_pct > _MOST_HUMID_PCT:
            self.humidity_pct = _MOST_HUMID_PCT
            ratio = air.humidity_ratio(self.air_c, _MOST_HUMID_PCT, self._pressure_pa)
            self.books.condensed_kg += self.physics.air_kg * (self.ratio - ratio)
            self.ratio = ratio

    def _pull_of_next_step(self) -> Pull:
        p, step_s = self.physics, self.step_s
        outdoor_c, vapour_pa = self._weather.at(self.at_s + 0.5 * step_s)
        held_c, heated_c = self._held_c(self.at_s, outdoor_c)
        return Pull(
            held_c,
            max(held_c, heated_c),
            self._ratio_of(vapour_pa) + p.moisture_kg_kg,
            exp(-step_s / p.lag_s),
            exp(-step_s / p.moisture_lag_s),
        )

    def _held_c(self, at_s: float, outdoor_c: float) -> tuple[float, float]:
        """Where outdoors, ground and house hold it, and what the heating keeps it at [°C]."""
        p = self.physics
        # The ground's and the house's own slow year, a few kelvins either side.
        base_c = p.base_c + 2.0 * cos(2.0 * pi * (at_s - _HOTTEST_DAY_S) / _YEAR_S)
        end_c = p.outdoor_share * outdoor_c + (1.0 - p.outdoor_share) * base_c + p.gain_k
        return end_c, p.heated_to_c

    def _ratio_of(self, vapour_pa: float) -> float:
        return air.humidity_ratio_of_vapour_pressure(vapour_pa, self._pressure_pa)


def _led_to(alone: float, by_given: float, tent: Response) -> float:
    """Solve end = alone + by_given (steady − per_unit (start + end)/2 − stored (end − start))."""
    given = tent.steady + (tent.stored - 0.5 * tent.per_unit) * tent.start
    return (alone + by_given * given) / (1.0 + by_given * (0.5 * tent.per_unit + tent.stored))
