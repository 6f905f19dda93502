"""The grey-box model of a tent: air, contents and humidity ratio. Pure, plain floats.

.. code-block:: text

    Ca dT/dt  = P (1 − s) + P_fan − λ E − ρ cp (Q + L)(T − T_in) − UA (T − T_in − D) − K (T − Tc)
    Cc dTc/dt = P s + K (T − Tc)
    ρV dW/dt  = E − ρ (Q + L)(W − W_in)

The balances of `simulators.tent` without condensation. What surrounds the fabric is warmer than
the intake air by a constant, D: without it, contents were learned up to twice as large where that
was 0.4 K, since they alone could keep a dark tent warm (`tests/benches/learning.sh`). Blocks with
water on the fabric (`wet_fabric`) are not held against it. About the measured state the
transpiration E is a straight line (`course.leaf_line`), so each step is a linear system; it is
stepped by the implicit midpoint rule, whose midpoints are its means. Where the air is changed
within the step, that rule would overshoot by nearly as much as it was off before, and swing so for
minutes: there the step ends where it settles.

References
----------
Madsen, H. & Holst, J. (1995), Energy and Buildings 22:67, and Bacher, P. & Madsen, H. (2011),
Energy and Buildings 43:1511: grey-box models of the heat of buildings (both from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from controller import air
from controller.air.constants import LATENT_J_PER_KG
from controller.learning.course import Block, Course
from controller.learning.fan_flow import SPEED_STEPS, FanFlow
from controller.learning.parameters import TentParameters
from controller.tent_physics import TentPhysics

REFERENCE_C, REFERENCE_VPD_PA = 25.0, 1000.0
"""The air in which evaporation and the plants' transpiration are compared [°C], [Pa]."""


class Fixed(NamedTuple):
    """What of a tent is not learned.

    Attributes
    ----------
    physics : TentPhysics
        Of the config.
    fan : FanFlow
        Its fan, duct and filter.
    fan_heat_w : callable
        Heat that the fan leaves in the tent at a speed of 0–1 [W].
    lag_c_s, lag_pct_s : float
        By how much the tent's sensor follows its air late [s].
    """

    physics: TentPhysics
    fan: FanFlow
    fan_heat_w: Callable[[float], float]
    lag_c_s: float
    lag_pct_s: float


class Simulated(NamedTuple):
    """What the tent's sensor would read over a block [°C], [%]."""

    tent_c: float
    tent_pct: float


def simulate(fixed: Fixed, course: Course, parameters: TentParameters) -> list[Simulated]:
    """Run the model through a course, open loop, and give what the sensor would read.

    Parameters
    ----------
    fixed : Fixed
        What is not learned.
    course : Course
        The recorded intake air, fan and lamp.
    parameters : TentParameters
        What is.

    Returns
    -------
    list of Simulated
        One for each block, in order.
    """
    flows = {step: fixed.fan.at(step, parameters.flow_share) for step in sorted(course.speed_steps)}
    heats = {step: fixed.fan_heat_w(step / SPEED_STEPS) for step in course.speed_steps}
    simulated: list[Simulated] = []
    for segment in course.segments:
        simulated += _segment(fixed, segment, parameters, flows, heats)
    return simulated


def _segment(
    fixed: Fixed,
    blocks: tuple[Block, ...],
    parameters: TentParameters,
    flows: Mapping[int, float],
    heats: Mapping[int, float],
) -> list[Simulated]:
    physics = fixed.physics
    pressure_pa = physics.pressure_pa
    density, per_m3_k = physics.density_kg_m3, physics.heat_capacity_j_m3_k
    walls, air_j, contents_j, coupling, _, leakage, share = parameters[:7]
    lit_times, dark_times, evaporation, more_k, more_pct, walls_k = parameters[7:]
    lamp_w, air_kg = physics.lamp_heat_w, density * physics.volume_m3
    steady_kg_s = evaporation * physics.transpiration_kg_s(True, REFERENCE_C, REFERENCE_VPD_PA)
    first = blocks[0]
    air_c = first.tent_c - more_k
    ratio = _ratio_read((first.tent_c, first.tent_pct), more_k, more_pct, pressure_pa)
    # Contents lag behind by hours: they begin at the mean of the first day.
    day = [block.tent_c for block in blocks if block.at_s - first.at_s <= 86_400.0]
    contents_c = sum(day) / len(day) - more_k
    simulated = []
    for block in blocks:
        lit_line, dark_line = block.lit, block.dark
        began_c, began_ratio = air_c, ratio
        sum_c = sum_ratio = sum_s = 0.0
        for length_s, intake_c, intake_ratio, lit, speed, on, opened in block.steps:
            flow = leakage + opened + on * flows[speed]
            by_lit, by_dark = lit * lit_times, (1.0 - lit) * dark_times
            water = by_lit * lit_line[0] + by_dark * dark_line[0] + lit * steady_kg_s
            per_k = by_lit * lit_line[1] + by_dark * dark_line[1]
            per_ratio = by_lit * lit_line[2] + by_dark * dark_line[2]
            twice = 2.0 / length_s
            carried = per_m3_k * flow + walls
            contents_row = contents_j * twice + coupling
            contents_rest = contents_j * twice * contents_c + lamp_w * lit * share
            ratio_row = air_kg * twice + density * flow - per_ratio
            ratio_rest = air_kg * twice * ratio + density * flow * intake_ratio + water
            # The air's row, with contents and humidity ratio put into it.
            row = air_j * twice + carried + coupling + LATENT_J_PER_KG * per_k
            row += LATENT_J_PER_KG * per_ratio * per_k / ratio_row
            row -= coupling * coupling / contents_row
            rest = air_j * twice * air_c + carried * intake_c + lamp_w * lit * (1.0 - share)
            rest += walls * walls_k + on * heats[speed] - LATENT_J_PER_KG * water
            rest += coupling * contents_rest / contents_row
            rest -= LATENT_J_PER_KG * per_ratio * ratio_rest / ratio_row
            mid_c = rest / row
            mid_ratio = (ratio_rest + per_k * mid_c) / ratio_row
            mid_contents_c = (contents_rest + coupling * mid_c) / contents_row
            # A fan that changes the air within the step has it where it settles at the end, and not
            # as far beyond as it was off before.
            air_c = mid_c + _second_half(air_j * twice, row) * (mid_c - air_c)
            ratio = mid_ratio + _second_half(air_kg * twice, ratio_row) * (mid_ratio - ratio)
            contents_c = 2.0 * mid_contents_c - contents_c
            sum_c += length_s * mid_c
            sum_ratio += length_s * mid_ratio
            sum_s += length_s
        # A sensor that lags shows the mean of a little earlier.
        mean_c = sum_c / sum_s
        mean_ratio = (sum_ratio - fixed.lag_pct_s * (ratio - began_ratio)) / sum_s
        felt_c = mean_c - fixed.lag_c_s * (air_c - began_c) / sum_s
        humidity_pct = _humidity_pct(mean_c, mean_ratio, pressure_pa)
        simulated.append(Simulated(felt_c + more_k, humidity_pct + more_pct))
        if block.wet_until is not None:  # the model goes on from what was read
            ratio = _ratio_read(block.wet_until, more_k, more_pct, pressure_pa)
    return simulated


def _second_half(kept: float, row: float) -> float:
    """What the second half of a step moves over the first: as much, or what is left to settle.

    Parameters
    ----------
    kept : float
        The state's capacity over half the step.
    row : float
        That, and all that is carried off.
    """
    return 1.0 if row <= 2.0 * kept else kept / (row - kept)


def _ratio_read(
    tent: tuple[float, float], more_k: float, more_pct: float, pressure_pa: float
) -> float:
    """Humidity ratio of the air, of which the tent's sensor reads so much too much [kg/kg]."""
    humidity_pct = min(99.0, max(1.0, tent[1] - more_pct))
    return air.humidity_ratio(tent[0] - more_k, humidity_pct, pressure_pa)


def _humidity_pct(air_c: float, ratio: float, pressure_pa: float) -> float:
    if not -40.0 < air_c < 90.0:  # parameters that were only tried
        return 50.0
    ratio = max(0.0, ratio)
    vapour_pa = ratio * pressure_pa / (air.MASS_RATIO + ratio)
    return 100.0 * vapour_pa / air.saturation_vapour_pressure_pa(air_c)
