"""Water on the fabric, followed from the readings: while there is any, the model doesn't hold.

The model of `model.py` has no condensation. Water that condensed by night dries for hours after,
and the air then carries more than leaves and fan account for, though it is far from saturated.
"""

from __future__ import annotations

from controller import air
from controller.tent_physics import TentPhysics

# The readings may be so far off; water is supposed rather than overlooked [%].
_DOUBT_PCT = 2.0


def film_after(
    film_kg: float,
    physics: TentPhysics,
    interval_s: float,
    tent: tuple[float, float],
    around_c: float,
) -> float:
    """Water on the fabric after an interval [kg].

    Parameters
    ----------
    film_kg : float
        Before it [kg].
    physics : TentPhysics
        Of the config.
    interval_s : float
        How long [s].
    tent : tuple of two float
        What the tent's sensors read meanwhile [°C], [%].
    around_c : float
        The air around the tent [°C].

    Notes
    -----
    As the simulated tent has it: the fabric lies between room and tent, and takes up or gives off
    what the air's humidity ratio is above or below that of saturated air as warm as the fabric.
    """
    tent_c, tent_pct = tent
    fabric_c = around_c + physics.fabric_inside_share * (tent_c - around_c)
    moist = min(100.0, tent_pct + _DOUBT_PCT)
    above = air.humidity_ratio(tent_c, moist, physics.pressure_pa) - air.humidity_ratio(
        fabric_c, 100.0, physics.pressure_pa
    )
    return min(physics.film_limit_kg, max(0.0, film_kg + physics.film_kg_s * above * interval_s))
