"""What is learned of a tent: the parameters, what is believed of each beforehand, and their scale.

Most are positive and known to within a factor, so they are fitted on a logarithmic scale, where the
config's value is the centre of a normal distribution. The spreads are the ranges that `size` states
for the same figures, taken as 90 % of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from controller.sizing.plan import INFILTRATION_PER_H, LEAF_AREA_SPREAD
from controller.tent_physics import TentPhysics

NORMAL_90 = 1.6449
"""Half width of the interval that holds 90 % of a standard normal distribution."""

_FACTOR_OF_TWO = math.log(2.0) / NORMAL_90


class TentParameters(NamedTuple):
    """The parameters of a tent, in SI.

    Attributes
    ----------
    wall_w_per_k : float
        What fabric and everything else lets through besides air [W/K].
    air_j_per_k : float
        Heat capacity of what follows the air within minutes [J/K].
    contents_j_per_k : float
        Heat capacity of pots, soil and frame [J/K].
    contents_w_per_k : float
        Between these and the air [W/K].
    flow_share : float
        Flow at full speed over that of the config's fan, duct and filter; other speeds follow by
        `FanFlow`.
    leakage_m3_s : float
        Air change beside the fan's [m³/s].
    lamp_to_contents : float
        Share of the lamp's heat that lands on the contents.
    transpiration_lit, transpiration_dark : float
        Water given off over what the config's plants would, lamp lit and dark.
    evaporation_lit : float
        Water that evaporates while the lamp is lit, whatever the air is like (wet soil, trays, a
        humidifier), over what the config's plants give off in its light at 25 °C and 1 kPa.
    difference_k, difference_pct : float
        What the tent's sensor reads more than the intake's in the same air [K], [%].
    walls_k : float
        By how much what surrounds the fabric is warmer than the air drawn in [K].
    """

    wall_w_per_k: float
    air_j_per_k: float
    contents_j_per_k: float
    contents_w_per_k: float
    flow_share: float
    leakage_m3_s: float
    lamp_to_contents: float
    transpiration_lit: float
    transpiration_dark: float
    evaporation_lit: float
    difference_k: float
    difference_pct: float
    walls_k: float = 0.0


class FitScale(NamedTuple):
    """How a parameter is fitted.

    Attributes
    ----------
    is_logarithmic : bool
        Whether on its logarithm.
    spread : float
        Standard deviation believed beforehand, on that scale.
    step : float
        For differences, on that scale.
    """

    is_logarithmic: bool
    spread: float
    step: float = 0.02


NAMES = TentParameters._fields

# Fabric: from a shiny lining in still air to stirred air, and what hangs on it. Contents, air and
# lamp share: to within a factor of two (engineering judgement, no source). Flow: fans deliver less
# than their sheets for dust, a kinked duct or a slower motor (engineering judgement, no source).
SCALES: Mapping[str, FitScale] = MappingProxyType(
    {
        "wall_w_per_k": FitScale(True, 0.35),
        "air_j_per_k": FitScale(True, _FACTOR_OF_TWO),
        "contents_j_per_k": FitScale(True, _FACTOR_OF_TWO),
        "contents_w_per_k": FitScale(True, _FACTOR_OF_TWO),
        "flow_share": FitScale(True, 0.40),
        "leakage_m3_s": FitScale(
            True, 0.5 * math.log(INFILTRATION_PER_H.high / INFILTRATION_PER_H.low) / NORMAL_90
        ),
        "lamp_to_contents": FitScale(True, _FACTOR_OF_TWO),
        "transpiration_lit": FitScale(
            True, 0.5 * math.log(LEAF_AREA_SPREAD[1] / LEAF_AREA_SPREAD[0]) / 1.2
        ),
        "transpiration_dark": FitScale(
            True, 0.5 * math.log(LEAF_AREA_SPREAD[1] / LEAF_AREA_SPREAD[0]) / 1.2
        ),
        "evaporation_lit": FitScale(False, 0.8, 0.02),
        "difference_k": FitScale(False, 0.4, 0.02),
        "difference_pct": FitScale(False, 2.0, 0.1),
        "walls_k": FitScale(False, 0.4, 0.02),
    }
)


def configured(physics: TentPhysics) -> TentParameters:
    """The parameters that a config stands for, and sensors that agree."""
    return TentParameters(
        wall_w_per_k=physics.wall_w_per_k,
        air_j_per_k=physics.air_capacity_j_k,
        contents_j_per_k=physics.contents_capacity_j_k,
        contents_w_per_k=physics.contents_w_per_k,
        flow_share=1.0,
        leakage_m3_s=physics.infiltration_m3_s,
        lamp_to_contents=physics.lamp_contents_share,
        transpiration_lit=1.0,
        transpiration_dark=1.0,
        evaporation_lit=0.0,
        difference_k=0.0,
        difference_pct=0.0,
        walls_k=0.0,
    )


def moved(centre: TentParameters, by: Sequence[float]) -> TentParameters:
    """Parameters so far from a centre, each on its own scale."""
    return TentParameters(
        *(
            value * math.exp(step) if SCALES[name].is_logarithmic else value + step
            for name, value, step in zip(NAMES, centre, by, strict=True)
        )
    )
