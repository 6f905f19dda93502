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

from collections.abc import Sequence
from math import exp
from typing import TYPE_CHECKING, NamedTuple

from simulators.tent_physics import LATENT_J_PER_KG

if TYPE_CHECKING:
    from simulators.tent import Tent
    from simulators.tent_step import StepRows


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

    Parameters
    ----------
    tent : Tent
        Whose.

    Attributes
    ----------
    released_j : float
        Heat that condensation gave back to the tent's air since the start [J].
    """

    __slots__ = (
        "_around_j",
        "_around_kg",
        "_coast",
        "_heat_j",
        "_heat_j_k",
        "_left_over_kg",
        "_rows",
        "_since",
        "_span_s",
        "_spans_s",
        "_tent",
        "_water_kg",
        "_water_kg_ratio",
        "released_j",
    )

    def __init__(self, tent: Tent) -> None:
        self._tent = tent
        self.released_j = 0.0
        self._heat_j = self._water_kg = self._heat_j_k = self._water_kg_ratio = self._spans_s = 0.0
        # Open: steps in which fan and lamp stay as they are.
        self._rows: StepRows | None = None
        self._since = (0.0, 0.0, 0.0, 0.0, 0.0)
        self._span_s = self._around_j = self._around_kg = self._left_over_kg = 0.0
        # The last of them, which may yet be taken back.
        self._coast: tuple[float, int, float, float, float, float, float] | None = None

    def begin(self, rows: StepRows) -> None:
        """Note what the tent holds, before steps with fan and lamp as in `rows`."""
        if self._coast is not None:
            self._enter()
        was = self._rows
        if was is not rows:
            if was is not None and was.drive == rows.drive:
                self._rows = rows
                return
            if was is not None:
                self._close()
            self._rows = rows
            self._since = self._holds()

    def coast(
        self,
        dt_s: float,
        count: int,
        heat_w: float,
        heat_more_w: float,
        ratio: float,
        ratio_more: float,
        left_over_kg_s: float,
    ) -> None:
        """Note that some steps were taken; `begin` came before.

        Parameters
        ----------
        dt_s : float
            Their length [s].
        count : int
            How many.
        heat_w, heat_more_w : float
            What came to the air's node from room and intake being as warm as they were, in the
            first step; and by how much more in each further one [W].
        ratio, ratio_more : float
            Humidity ratio drawn in, likewise [kg/kg].
        left_over_kg_s : float
            What the linearisation left of the transpiration, their sum over the steps [kg/s].
        """
        self._coast = (dt_s, count, heat_w, heat_more_w, ratio, ratio_more, left_over_kg_s)

    def shorten(self, taken_back: int, left_over_kg_s: Sequence[float]) -> None:
        """Take some of the steps just noted back; the last entries given are of those that stay."""
        assert self._coast is not None, "there were steps"
        dt_s, count, heat_w, heat_more_w, ratio, ratio_more, _ = self._coast
        count -= taken_back
        left_over = sum(left_over_kg_s[-count:])
        self._coast = (dt_s, count, heat_w, heat_more_w, ratio, ratio_more, left_over)

    def take(self) -> GivenOff:
        """Give what left since this was last asked."""
        rows = self._rows
        if rows is None:
            return NOTHING
        self.begin(rows)
        self._close()
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

    def _enter(self) -> None:
        assert self._coast is not None
        dt_s, count, heat_w, heat_more_w, ratio, ratio_more, left_over_kg_s = self._coast
        self._coast = None
        pairs = 0.5 * count * (count - 1)
        self._span_s += count * dt_s
        self._around_j += dt_s * (count * heat_w + pairs * heat_more_w)
        self._around_kg += dt_s * (count * ratio + pairs * ratio_more)
        self._left_over_kg += dt_s * left_over_kg_s

    def _close(self) -> None:
        """Solve the equations of the module for what was open."""
        rows = self._rows
        assert rows is not None
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
