"""What resists the air: duct, bends, ends, carbon filter and intake openings in series."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from controller.airflow.fittings import (
    ORIFICE_DISCHARGE,
    bend_k,
    openings_drop_pa,
    static_exit_k,
)
from controller.airflow.friction import (
    STANDARD_DENSITY_KG_PER_M3,
    circle_area_m2,
    friction_factor,
    friction_pa_per_m,
    reynolds_number,
    velocity_pressure_pa,
)

STRETCHED_ROUGHNESS_M = 0.9e-3
"""Flexible duct pulled tight (ASHRAE's list of roughness: fully extended flexible duct)."""

RIGID_ROUGHNESS_M = 0.09e-3
"""Galvanised spiral duct (ASHRAE's list of roughness: medium smooth)."""

SLACK_FRICTION_MULTIPLIER = 4.0
"""Friction of flexible duct as commonly hung, over that of the same duct pulled tight; up to 10
(Abushakra, Walker & Sherman 2004, HVAC&R Research 10(3), abstract)."""

FILTER_LINEAR_SHARE = 0.4
"""Share of a carbon bed's drop at rated flow that grows with the flow, the rest with its square.

Ergun's equation for 4 mm pellets, void 0.4, bed 40 mm (5.81, 15.55, 29.24 Pa at 0.1, 0.2, 0.3 m/s)
splits 38.5 v + 196 v²; at the 0.3 m/s or so of a bed run at its rating 40 % of it is linear."""


@dataclass(frozen=True, slots=True)
class Duct:
    """A run of round duct of one inside diameter.

    Attributes
    ----------
    diameter_m : float
        Inside diameter [m].
    length_m : float
        Straight length [m].
    bends : float
        Number of 90° bends.
    roughness_m : float
        Roughness of the wall [m].
    friction_multiplier : float
        Friction of the duct as hung over that of the same duct pulled straight [-].
    radius_ratio : float
        Bend radius over diameter [-].
    """

    diameter_m: float
    length_m: float = 0.0
    bends: float = 0.0
    roughness_m: float = STRETCHED_ROUGHNESS_M
    friction_multiplier: float = 1.0
    radius_ratio: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what no duct can be."""
        if not 0.0 < self.diameter_m < math.inf:
            raise ValueError(f"duct diameter must be above 0 m, got {self.diameter_m!r}")
        for name in ("length_m", "bends", "roughness_m"):
            value = getattr(self, name)
            if not 0.0 <= value < math.inf:
                raise ValueError(f"duct {name} must be 0 or more, got {value!r}")
        if not 1.0 <= self.friction_multiplier <= 20.0:
            raise ValueError(
                f"friction multiplier must be 1 to 20, got {self.friction_multiplier!r}"
            )

    def velocity_m_s(self, flow_m3_s: float) -> float:
        """Mean air speed [m/s]."""
        return flow_m3_s / circle_area_m2(self.diameter_m)

    def pressure_drop_pa(self, flow_m3_s: float, density_kg_per_m3: float) -> float:
        """Friction and bends [Pa]."""
        if flow_m3_s == 0.0:
            return 0.0
        straight = friction_pa_per_m(
            flow_m3_s, self.diameter_m, self.roughness_m, density_kg_per_m3
        )
        velocity = self.velocity_m_s(flow_m3_s)
        reynolds = reynolds_number(velocity, self.diameter_m, density_kg_per_m3)
        turned = 0.0
        if self.bends > 0.0:
            # Bend coefficients hold in turbulent flow, not at a creeping flow's 64/Re.
            factor = friction_factor(max(reynolds, 4000.0), self.roughness_m / self.diameter_m)
            turned = self.bends * bend_k(self.radius_ratio, factor)
        return self.length_m * straight * self.friction_multiplier + turned * velocity_pressure_pa(
            velocity, density_kg_per_m3
        )


@dataclass(frozen=True, slots=True)
class Filter:
    """A carbon filter: drop = linear Q + quadratic Q² ρ/ρ₀.

    Attributes
    ----------
    linear_pa_s_per_m3 : float
        Viscous part [Pa s/m³].
    quadratic_pa_s2_per_m6 : float
        Inertial part [Pa s²/m⁶], at standard density.
    """

    linear_pa_s_per_m3: float = 0.0
    quadratic_pa_s2_per_m6: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a filter that would push the air."""
        for value in (self.linear_pa_s_per_m3, self.quadratic_pa_s2_per_m6):
            if not 0.0 <= value < math.inf:
                raise ValueError(f"filter coefficients must be 0 or more, got {value!r}")

    @classmethod
    def at_rated_flow(
        cls,
        pressure_drop_pa: float,
        flow_m3_s: float,
        linear_share: float = FILTER_LINEAR_SHARE,
    ) -> Filter:
        """Filter from the one figure its sheet gives: a drop at a flow.

        A bed of pellets is neither a duct (square law) nor a cloth (linear): Ergun's equation has
        both terms, and their shares at the rated flow depend on pellet and bed. With one figure the
        shares are assumed; below the rated flow the assumption errs by a tenth of the drop or so.

        Parameters
        ----------
        pressure_drop_pa : float
            Drop [Pa] at `flow_m3_s`, ≥ 0.
        flow_m3_s : float
            Flow of that figure [m³/s], > 0.
        linear_share : float
            Share of the drop that is linear in the flow [-], 0 to 1.

        References
        ----------
        Ergun, S. (1952), Chem. Eng. Prog. 48:89.
        """
        if not 0.0 < flow_m3_s < math.inf:
            raise ValueError(f"flow of the filter's figure must be above 0 m³/s, got {flow_m3_s!r}")
        if not 0.0 <= linear_share <= 1.0:
            raise ValueError(f"linear share must be 0 to 1, got {linear_share!r}")
        return cls(
            linear_share * pressure_drop_pa / flow_m3_s,
            (1.0 - linear_share) * pressure_drop_pa / flow_m3_s / flow_m3_s,
        )

    def pressure_drop_pa(
        self, flow_m3_s: float, density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3
    ) -> float:
        """Drop over the filter [Pa]."""
        thinner = density_kg_per_m3 / STANDARD_DENSITY_KG_PER_M3
        return (
            self.linear_pa_s_per_m3 * flow_m3_s
            + self.quadratic_pa_s2_per_m6 * flow_m3_s * flow_m3_s * thinner
        )


class System(NamedTuple):
    """Everything the fan must overcome, in series, in the terms of its static pressure.

    Losses are of total pressure, from the still air of the tent to still air outside it. Their sum
    is the fan's total pressure; less the velocity pressure at its outlet it is the static pressure
    that a data sheet gives.

    Attributes
    ----------
    duct : Duct or None
        The run of duct, None for a fan in the wall.
    filter : Filter or None
        The carbon filter.
    entry_k : float
        Loss coefficient where the air enters the duct [-], on the duct's velocity pressure.
    exit_k : float
        Loss coefficient where it leaves, less the velocity pressure at the fan's outlet [-]; see
        `static_exit_k`. Nothing by default: an outlet as wide as the duct.
    openings_m2 : float or None
        Free area of the passive intake openings of the tent together [m²]; None: not counted.
    discharge : float
        Discharge coefficient of the openings [-].
    """

    duct: Duct | None = None
    filter: Filter | None = None
    entry_k: float = 0.0
    exit_k: float = static_exit_k(1.0)
    openings_m2: float | None = None
    discharge: float = ORIFICE_DISCHARGE

    def pressure_drop_pa(
        self, flow_m3_s: float, density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3
    ) -> float:
        """Static pressure it takes to move a flow through the system [Pa].

        Parameters
        ----------
        flow_m3_s : float
            Volume flow [m³/s], ≥ 0.
        density_kg_per_m3 : float
            Density of the air [kg/m³], > 0.
        """
        return sum(self.parts_pa(flow_m3_s, density_kg_per_m3).values())

    def parts_pa(
        self, flow_m3_s: float, density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3
    ) -> dict[str, float]:
        """The same, part by part [Pa]: `duct`, `ends`, `filter`, `openings`."""
        if not 0.0 <= flow_m3_s < math.inf:
            raise ValueError(f"flow must be 0 m³/s or more, got {flow_m3_s!r}")
        if not 0.0 < density_kg_per_m3 < math.inf:
            raise ValueError(f"density must be above 0 kg/m³, got {density_kg_per_m3!r}")
        parts = {"duct": 0.0, "ends": 0.0, "filter": 0.0, "openings": 0.0}
        if self.duct is not None:
            parts["duct"] = self.duct.pressure_drop_pa(flow_m3_s, density_kg_per_m3)
            parts["ends"] = (self.entry_k + self.exit_k) * velocity_pressure_pa(
                self.duct.velocity_m_s(flow_m3_s), density_kg_per_m3
            )
        if self.filter is not None:
            parts["filter"] = self.filter.pressure_drop_pa(flow_m3_s, density_kg_per_m3)
        if self.openings_m2 is not None:
            parts["openings"] = openings_drop_pa(
                flow_m3_s, self.openings_m2, density_kg_per_m3, self.discharge
            )
        return parts


class LoadedSystem(NamedTuple):
    """A system whose filter resists so many times as much as when new; all of it without one.

    Attributes
    ----------
    system : System
        With a new filter.
    factor : float
        How many times as much, > 0.
    """

    system: System
    factor: float

    def pressure_drop_pa(
        self, flow_m3_s: float, density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3
    ) -> float:
        """Static pressure it takes to move a flow through it [Pa]; see `System`."""
        whole = self.system.pressure_drop_pa(flow_m3_s, density_kg_per_m3)
        if self.factor == 1.0:
            return whole
        part = whole
        if self.system.filter is not None:
            part = self.system.filter.pressure_drop_pa(flow_m3_s, density_kg_per_m3)
        return whole + (self.factor - 1.0) * part
