"""What a tent gives off to the air around it, exactly as its steps carried it there.

The difference between tent and room at one instant says little of the half-hour that follows, and
least where the fan is strong. But what has left in some time is known from the tent's balances:
what lamp and fan gave, less what went into vapour, less what is stored now and wasn't before.

.. code-block:: text

    H + λ E = P t + α λ J − Ca ΔT − Cc ΔTc              heat to the room
    X − E   = −J − ρV ΔW                                water to the room
    E       = κ (e_s' ∫T dt − e' ∫W dt) + R             R: what the linearisation left over
    H       = (ρ cp Q + UA) ∫T dt − ∫(UA T_room + ρ cp Q T_intake) dt
    X       = ρ Q (∫W dt − ∫W_intake dt)

Five equations for five unknowns: H, X, E and the two integrals. Whatever the error of E, heat and
water are conserved to the last digit.
"""

from __future__ import annotations

from math import exp
from typing import TYPE_CHECKING, NamedTuple

from controller.air.constants import LATENT_J_PER_KG

if TYPE_CHECKING:
    from simulators.tent.step import StepRows
    from simulators.tent.tent import Tent


class GivenOff(NamedTuple):
    """What a tent gave to the air around it in some time, and how that depends on this air.

    Attributes
    ----------
    heat_j, water_kg : float
        Heat through the walls and with the air [J], water with the air [kg].
    heat_j_k, water_kg_ratio : float
        About how much less it would have been for each kelvin [J/K] or unit of humidity ratio [kg]
        more in the air around, since the leaves give off less then.
    stores_j_k, stores_kg : float
        What the tent takes up, once, for each kelvin [J/K] or unit of humidity ratio [kg] more.
    """

    heat_j: float
    water_kg: float
    heat_j_k: float = 0.0
    water_kg_ratio: float = 0.0
    stores_j_k: float = 0.0
    stores_kg: float = 0.0


NOTHING = GivenOff(0.0, 0.0)


class TentOutflow:
    """The books of what a tent gives off; see the module.

    A step adds to what stands first under Attributes; `begin` comes before, whenever the rows of
    the step are others than those of the last one.

    Parameters
    ----------
    tent : Tent
        Whose.

    Attributes
    ----------
    steps : int
        How many were taken with the same rows.
    around_w, around_ratio : float
        Sums over them of the heat that came to the air's node from room and intake being as warm
        as they were [W], and of the humidity ratio drawn in [kg/kg].
    left_over_kg_s : float
        Sum over them of what the linearisation left of the transpiration [kg/s].
    rows : StepRows or None
        Of these steps.
    released_j : float
        Heat that condensation gave back to the tent's air since the start [J].
    """

    __slots__ = (
        "_around_j",
        "_around_kg",
        "_heat_j",
        "_heat_j_k",
        "_left_over_kg",
        "_since",
        "_span_s",
        "_spans_s",
        "_tent",
        "_water_kg",
        "_water_kg_ratio",
        "around_ratio",
        "around_w",
        "left_over_kg_s",
        "released_j",
        "rows",
        "steps",
    )

    def __init__(self, tent: Tent) -> None:
        self._tent = tent
        self.rows: StepRows | None = None
        self.steps = 0
        self.around_w = self.around_ratio = self.left_over_kg_s = 0.0
        self.released_j = 0.0
        # Over the time in which fan and lamp have been as they are: `_since` is what was held then.
        self._since = (0.0, 0.0, 0.0, 0.0, 0.0)
        self._span_s = self._around_j = self._around_kg = self._left_over_kg = 0.0
        # Since it was last asked, up to there.
        self._heat_j = self._water_kg = self._heat_j_k = self._water_kg_ratio = self._spans_s = 0.0

    def begin(self, rows: StepRows) -> None:
        """Close the sums of the steps so far; the next ones have other rows."""
        was = self.rows
        self.sum_up()
        if was is None or was.drive != rows.drive:
            if was is not None:
                self._solve(was)
            self._since = self._holds()
        self.rows = rows

    def take(self) -> GivenOff:
        """Give what left since this was last asked."""
        rows = self.rows
        if rows is None:
            return NOTHING
        self.sum_up()
        self._solve(rows)
        self._since = self._holds()
        p = rows.physics
        followed = 1.0 - exp(-p.contents_w_per_k * self._spans_s / p.contents_capacity_j_k)
        given = GivenOff(
            self._heat_j,
            self._water_kg,
            self._heat_j_k,
            self._water_kg_ratio,
            p.air_capacity_j_k + followed * p.contents_capacity_j_k,
            p.density_kg_m3 * p.volume_m3,
        )
        self._heat_j = self._water_kg = self._heat_j_k = self._water_kg_ratio = self._spans_s = 0.0
        return given

    def _holds(self) -> tuple[float, float, float, float, float]:
        tent = self._tent
        return (
            tent.air_c,
            tent.contents_c,
            tent.humidity_ratio,
            tent.film_kg + tent.drained_kg,
            self.released_j,
        )

    def sum_up(self) -> None:
        """Take in the steps since this was last called; the tent's CO2 follows them now."""
        rows = self.rows
        if rows is None:
            return
        for_s = rows.dt_s * self.steps
        self._tent.co2.go_on(rows, for_s)
        self._span_s += for_s
        self._around_j += rows.dt_s * self.around_w
        self._around_kg += rows.dt_s * self.around_ratio
        self._left_over_kg += rows.dt_s * self.left_over_kg_s
        self.steps = 0
        self.around_w = self.around_ratio = self.left_over_kg_s = 0.0

    def _solve(self, rows: StepRows) -> None:
        """Solve the equations of the module for the time in which fan and lamp were the same."""
        p, span_s = rows.physics, self._span_s
        if span_s == 0.0:
            return
        now_c, now_pots_c, now_ratio, now_kg, now_j = self._holds()
        air_c, pots_c, ratio, kg, released_j = self._since
        latent, water_k, water_ratio = LATENT_J_PER_KG, rows.by_k, rows.by_ratio
        carried_w_k, carried_kg_s = rows.carried_w_k, rows.carried_kg_s
        heat_j = (
            rows.source_w * span_s
            + (now_j - released_j)
            - p.air_capacity_j_k * (now_c - air_c)
            - p.contents_capacity_j_k * (now_pots_c - pots_c)
        )
        water_kg = -(now_kg - kg) - p.density_kg_m3 * p.volume_m3 * (now_ratio - ratio)
        around_kg, left_over_kg = carried_kg_s * self._around_kg, self._left_over_kg
        # ∫W by the water balance, put into the heat balance, gives ∫T; that gives E.
        dries = carried_kg_s + water_ratio
        share = water_ratio / dries if dries > 0.0 else 0.0
        driven_kg = left_over_kg * (1.0 - share) - share * (water_kg + around_kg)
        cools_w_k = latent * water_k * (1.0 - share)
        air_ks = (heat_j + self._around_j - latent * driven_kg) / (carried_w_k + cools_w_k)
        evaporated_kg = water_k * (1.0 - share) * air_ks + driven_kg
        self._heat_j += heat_j - latent * evaporated_kg
        self._water_kg += water_kg + evaporated_kg
        # Where the tent follows the room, the leaves feel it as far as the air carries it to them.
        leaves_w_k = latent * water_k
        self._heat_j_k += span_s * leaves_w_k * carried_w_k / (leaves_w_k + carried_w_k)
        self._water_kg_ratio += span_s * share * carried_kg_s
        self._spans_s += span_s
        self._span_s = self._around_j = self._around_kg = self._left_over_kg = 0.0
