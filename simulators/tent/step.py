"""The exact step of the tent's linear part, worked out once per (flow, lamp, length)."""

from __future__ import annotations

from functools import lru_cache, partial
from itertools import pairwise
from math import ceil
from typing import Any, NamedTuple

from controller import air
from controller.air.constants import LATENT_J_PER_KG
from controller.leaf_table import LeafTable
from controller.tent_physics import TentPhysics
from simulators.tent.matrix_exponential import Matrix, exponential, power

# A switched fan or lamp moves moisture within seconds: no longer steps than this right after. Half
# as long ones would take the worst error of a hot day from 0.010 K to 0.008 K.
SHORT_S = 20.0

# About this state transpiration is linearised; elsewhere the corrector makes up for it.
_ABOUT_C = 25.0
_ABOUT_RATIO = 0.010
_ABOUT_VPD_PA = 1000.0

# CO2 uptake by concentration, for linear interpolation between points so close that the error is
# below 1e-4 of the value.
CO2_STEP_PPM = 16.0
CO2_POINTS = 256
CO2_LAST_PPM = CO2_STEP_PPM * (CO2_POINTS - 1)

# The augmented state: temperatures, humidity ratio, their integrals over the step, then what is
# constant or linear within it: heat at the air's node, humidity ratio drawn in, one, what the
# linearisation leaves of the transpiration and its slope, what it leaves of the evaporation from
# wet fabric and its slope.
_T, _C, _W, _IT, _IC, _IW, _HEAT, _IN, _ONE, _R, _DR, _S, _DS = range(13)
# Units of them in which all that happens in a short step is of the order of one: the exponential
# of such a matrix takes half the work of one in SI.
_UNITS = (
    1.0, 1.0, 1e-3, SHORT_S, SHORT_S, 1e-3 * SHORT_S, 20.0, 1e-3, 0.1,
    1e-5, 1e-5 / SHORT_S, 1e-5, 1e-5 / SHORT_S,
)  # fmt: skip


DryRows = tuple[Any, ...]  # unpacked once a step: a type for each of 32 would cost a screen


def short_steps(dt_s: float) -> int:
    """How many equal steps, none longer than `SHORT_S`, make up a time [s]."""
    return ceil(dt_s / SHORT_S)


class Linearisation(NamedTuple):
    """Slopes of saturation pressure by temperature and of vapour pressure by humidity ratio."""

    per_k_pa: float
    per_ratio_pa: float


@lru_cache(maxsize=8)
def linearisation(pressure_pa: float) -> Linearisation:
    """Give the slopes about 25 °C and 10 g/kg at a pressure [Pa]."""
    per_k = air.saturation_vapour_pressure_pa(_ABOUT_C + 0.5) - air.saturation_vapour_pressure_pa(
        _ABOUT_C - 0.5
    )
    ratio = air.MASS_RATIO
    return Linearisation(per_k, pressure_pa * ratio / (ratio + _ABOUT_RATIO) ** 2)


class Row(NamedTuple):
    """One row of the exact step: what one state becomes, by what it depends on."""

    air_c: float
    contents_c: float
    humidity_ratio: float
    heat_w: float
    intake_ratio: float
    constant: float
    rest: float
    rest_change: float
    film: float
    film_change: float

    def value(
        self,
        state: tuple[float, float, float],
        outside: tuple[float, float],
        forcing: tuple[float, float, float, float],
    ) -> float:
        """One state, or its integral, after a step."""
        return (
            self[0] * state[0]
            + self[1] * state[1]
            + self[2] * state[2]
            + self[3] * outside[0]
            + self[4] * outside[1]
            + self[5]
            + self[6] * forcing[0]
            + self[7] * forcing[1]
            + self[8] * forcing[2]
            + self[9] * forcing[3]
        )


def _row(matrix: Matrix, which: int, dt_s: float) -> Row:
    # The slopes are given as changes over the whole step.
    m = matrix[which]
    return Row(
        m[_T], m[_C], m[_W], m[_HEAT], m[_IN], m[_ONE], m[_R], m[_DR] / dt_s, m[_S], m[_DS] / dt_s
    )


class Rows(NamedTuple):
    """The rows of the three states and of their integrals over the step."""

    air: Row
    contents: Row
    ratio: Row
    air_integral: Row
    contents_integral: Row
    ratio_integral: Row


class Exchange:
    """What the leaves give and take with the lamp on or off, and how warm they are, tabulated.

    Attributes
    ----------
    water : LeafTable
        Transpiration of all of them [kg/s].
    leaf_c, leaf_vpd_pa : LeafTable
        Temperature of a leaf [°C] and VPD from inside it to the air [Pa].
    per_vpd_kg_s_pa : float
        Slope of the transpiration about the state of linearisation [kg/(s Pa)].
    uptake, uptake_steps : list of float
        By CO2, at multiples of `CO2_STEP_PPM`, and the rise to the next [ppm/s].
    """

    __slots__ = ("leaf_c", "leaf_vpd_pa", "per_vpd_kg_s_pa", "uptake", "uptake_steps", "water")

    def __init__(self, physics: TentPhysics, lamp_on: bool) -> None:
        leaf = partial(physics.leaf, lamp_on)
        self.leaf_c = LeafTable(lambda air_c, vpd_pa: leaf(air_c, vpd_pa).leaf_c)
        self.leaf_vpd_pa = LeafTable(lambda air_c, vpd_pa: leaf(air_c, vpd_pa).leaf_vpd_pa)
        water = partial(physics.transpiration_kg_s, lamp_on)
        self.water = LeafTable(water)
        carbon = [physics.co2_ppm_s(lamp_on, CO2_STEP_PPM * i) for i in range(CO2_POINTS)]
        self.uptake, self.uptake_steps = carbon, _steps(carbon)
        self.per_vpd_kg_s_pa = (
            water(_ABOUT_C, _ABOUT_VPD_PA + 100.0) - water(_ABOUT_C, _ABOUT_VPD_PA - 100.0)
        ) / 200.0

    def co2_ppm_s(self, co2_ppm: float) -> tuple[float, float]:
        """Interpolate the uptake [ppm/s] and its slope [1/s]."""
        x = min(max(co2_ppm, 0.0), CO2_LAST_PPM - 1.0) / CO2_STEP_PPM
        i = int(x)
        step = self.uptake_steps[i]
        return self.uptake[i] + (x - i) * step, step / CO2_STEP_PPM


exchange_of = lru_cache(maxsize=8)(Exchange)
"""Configs that are tried on one tent have the same plants."""


def _steps(values: list[float]) -> list[float]:
    return [b - a for a, b in pairwise(values)]


class StepRows:
    """The exact step for one fan flow, one lamp state and one length; see `step_rows`.

    Attributes
    ----------
    drive : tuple
        Flow [m³/s], lamp lit?, heat that the fan leaves in the tent [W].
    source_w : float
        Heat from lamp and fan [W].
    dry : tuple
        The step with dry fabric as `Tent` walks it. For each state what it takes from the three
        states, from the transpiration at the step's start, from the heat at the air's node, from
        the humidity ratio drawn in and by itself, and from the change of what the linearisation
        leaves over; then the table of the transpiration, κ [kg/(s Pa)] times the two slopes of
        the linearisation; where the fabric lies on the way from tent (0) to room (1); and the
        heat at the air's node for each kelvin of room and intake [W/K].
    by_k, by_ratio : float
        Those slopes by themselves [kg/(s K)], [kg/s].
    carried_w_k, carried_kg_s : float
        What walls and air carry away for each kelvin [W/K], and the air for each unit of humidity
        ratio [kg/s].
    changes_s : float
        Air changes [1/s].
    """

    __slots__ = (
        "_intake_w_k",
        "_part",
        "_parts",
        "_room_w_k",
        "_transitions",
        "_wet_rows",
        "by_k",
        "by_ratio",
        "carried_kg_s",
        "carried_w_k",
        "changes_s",
        "drive",
        "dry",
        "dry_rows",
        "dt_s",
        "exchange",
        "fan_heat_w",
        "flow_m3_s",
        "lamp_on",
        "physics",
        "source_w",
    )

    def __init__(
        self,
        physics: TentPhysics,
        flow_m3_s: float,
        lamp_on: bool,
        dt_s: float,
        fan_heat_w: float = 0.0,
    ) -> None:
        self.physics = physics
        self.exchange = exchange = exchange_of(physics, lamp_on)
        self.flow_m3_s = flow_m3_s
        self.lamp_on = lamp_on
        self.fan_heat_w = fan_heat_w
        self.drive = (flow_m3_s, lamp_on, fan_heat_w)
        self.source_w = fan_heat_w + (physics.lamp_heat_w if lamp_on else 0.0)
        self.dt_s = dt_s
        # A long step is so many short ones, which are needed anyway; and less work.
        self._parts = parts = short_steps(dt_s)
        self._transitions: dict[bool, Matrix] = {}
        self._part = (
            None
            if parts == 1
            else (step_rows(physics, flow_m3_s, lamp_on, dt_s / parts, fan_heat_w))
        )
        self.dry_rows = self._rows(wet=False)
        self._wet_rows: Rows | None = None
        total = flow_m3_s + physics.infiltration_m3_s
        self.changes_s = total / physics.volume_m3
        self._room_w_k = physics.wall_w_per_k
        self._intake_w_k = physics.heat_capacity_j_m3_k * total
        self.carried_w_k = self._room_w_k + self._intake_w_k
        self.carried_kg_s = physics.density_kg_m3 * total
        slopes = linearisation(physics.pressure_pa)
        self.by_k = by_k = exchange.per_vpd_kg_s_pa * slopes.per_k_pa
        self.by_ratio = by_ratio = exchange.per_vpd_kg_s_pa * slopes.per_ratio_pa

        def folded(row: Row) -> tuple[float, ...]:
            # What the linearisation leaves over at the start is the transpiration less its linear
            # part: the latter goes with the states, for good.
            return (
                row.air_c - row.rest * by_k,
                row.contents_c,
                row.humidity_ratio + row.rest * by_ratio,
                row.rest,
                row.heat_w,
                row.intake_ratio,
                row.constant,
                row.rest_change,
            )

        self.dry: DryRows = (
            *folded(self.dry_rows.air),
            *folded(self.dry_rows.contents),
            *folded(self.dry_rows.ratio),
            exchange.water,
            by_k,
            by_ratio,
            1.0 - physics.fabric_inside_share,
            self._room_w_k,
            self._intake_w_k,
        )

    def heat_w(self, room_c: float, intake_c: float) -> float:
        """Heat that comes to the air's node with room and intake at their temperatures [W]."""
        return self._room_w_k * room_c + self._intake_w_k * intake_c

    @property
    def wet_rows(self) -> Rows:
        """The rows with wet fabric; worked out when first needed."""
        if self._wet_rows is None:
            self._wet_rows = self._rows(wet=True)
        return self._wet_rows

    def _rows(self, wet: bool) -> Rows:
        step = [
            [x * unit / per for x, per in zip(row, _UNITS, strict=True)]
            for row, unit in zip(self._transition(wet), _UNITS, strict=True)
        ]
        return Rows(*(_row(step, which, self.dt_s) for which in (_T, _C, _W, _IT, _IC, _IW)))

    def _transition(self, wet: bool) -> Matrix:
        """The exponential of the rates over the step, in `_UNITS`; worked out once."""
        known = self._transitions.get(wet)
        if known is not None:
            return known
        if self._part is not None:
            step = power(self._part._transition(wet), self._parts)
        else:
            rates = [
                [x * self.dt_s * per / unit for x, per in zip(row, _UNITS, strict=True)]
                for row, unit in zip(self._rates(wet), _UNITS, strict=True)
            ]
            step = exponential(rates)
        self._transitions[wet] = step
        return step

    def _rates(self, wet: bool) -> Matrix:
        p = self.physics
        slopes = linearisation(p.pressure_pa)
        kappa = self.exchange.per_vpd_kg_s_pa
        by_t, by_w = kappa * slopes.per_k_pa, kappa * slopes.per_ratio_pa
        total = self.flow_m3_s + p.infiltration_m3_s
        air_mass_s = p.density_kg_m3 * total
        air_mass = p.density_kg_m3 * p.volume_m3
        lamp_w = p.lamp_heat_w if self.lamp_on else 0.0
        film = p.film_kg_s if wet else 0.0
        film_heat = p.fabric_inside_share * LATENT_J_PER_KG

        a = [[0.0] * 13 for _ in range(13)]
        row = a[_T]
        row[_T] = -(
            p.heat_capacity_j_m3_k * total
            + p.wall_w_per_k
            + p.contents_w_per_k
            + LATENT_J_PER_KG * by_t
        )
        row[_C] = p.contents_w_per_k
        row[_W] = LATENT_J_PER_KG * by_w + film_heat * film
        row[_HEAT] = 1.0
        row[_ONE] = lamp_w * (1.0 - p.lamp_contents_share) + self.fan_heat_w
        row[_ONE] += p.wall_w_per_k * p.walls_k
        row[_R] = -LATENT_J_PER_KG
        row[_S] = -film_heat if wet else 0.0
        a[_T] = [x / p.air_capacity_j_k for x in row]

        row = a[_C]
        row[_T], row[_C] = p.contents_w_per_k, -p.contents_w_per_k
        row[_ONE] = lamp_w * p.lamp_contents_share
        a[_C] = [x / p.contents_capacity_j_k for x in row]

        row = a[_W]
        row[_T], row[_W] = by_t, -by_w - air_mass_s - film
        row[_IN] = air_mass_s
        row[_R] = 1.0
        row[_S] = 1.0 if wet else 0.0
        a[_W] = [x / air_mass for x in row]

        a[_IT][_T] = a[_IC][_C] = a[_IW][_W] = 1.0
        a[_R][_DR] = a[_S][_DS] = 1.0
        return a


step_rows = lru_cache(maxsize=256)(StepRows)
"""Configs that are tried on one tent with one fan have most of their steps in common."""
