"""The four ways to place fan and filter, each computed, and which serves what matters. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from controller.airflow.operating import OperatingPoint
from controller.airflow.rig import ARRANGEMENTS, EXTRA_BENDS, EXTRA_LENGTH_M, Arrangement
from controller.airflow.span import Assumption, Span
from controller.sizing.assess import Sizing

Priority = Literal["smell", "headroom", "lamp_height", "floor_space"]

DEFAULT_PRIORITIES: tuple[Priority, ...] = ("smell",)
"""What is taken to matter when nobody says."""

STRAP_M = 0.05
"""Gap that straps need between roof poles and what hangs from them [m] (common practice)."""

LAMP_HANGER_M = 0.15
"""Least distance of a lamp's body from the roof poles on its own hangers [m] (common practice)."""

LAMP_CLEARANCE_M = 0.05
"""Gap kept between the lamp's warm back and what hangs above it [m] (common practice)."""

# Size and mass of what is sold, by inside diameter of the duct [m]: fan diameter, length [m],
# mass [kg]; filter diameter, length [m], mass [kg]. Common practice, no source.
_SOLD: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0.100, (0.17, 0.25, 2.0, 0.17, 0.32, 3.5)),
    (0.125, (0.18, 0.26, 2.5, 0.20, 0.36, 5.0)),
    (0.150, (0.21, 0.30, 3.5, 0.20, 0.45, 8.0)),
    (0.200, (0.24, 0.32, 5.0, 0.25, 0.52, 12.0)),
    (0.250, (0.28, 0.38, 7.5, 0.30, 0.62, 18.0)),
    (0.315, (0.36, 0.44, 11.0, 0.36, 0.78, 26.0)),
)
_MASS_DOUBT = (0.6, 1.5)


@dataclass(frozen=True, slots=True)
class Hardware:
    """Size and mass of fan and filter.

    Attributes
    ----------
    fan_diameter_m, fan_length_m, fan_mass_kg : float
        The fan.
    filter_diameter_m, filter_length_m, filter_mass_kg : float
        The filter; 0 without one.
    """

    fan_diameter_m: float
    fan_length_m: float
    fan_mass_kg: float
    filter_diameter_m: float
    filter_length_m: float
    filter_mass_kg: float

    @classmethod
    def typical(cls, inside_diameter_m: float, has_filter: bool) -> Hardware:
        """What is commonly sold for a duct of this inside diameter, between sizes in proportion."""
        figures = _between_sizes(inside_diameter_m)
        if not has_filter:
            figures = (*figures[:3], 0.0, 0.0, 0.0)
        return cls(*figures)


@dataclass(frozen=True, slots=True)
class Placement:
    """One way to place fan and filter, computed.

    Attributes
    ----------
    arrangement : str
        Which way.
    point : OperatingPoint
        What the fan delivers this way at full speed; None without a fan.
    motor_heat_in_tent_w, motor_heat_outside_w : float or None
        Where the fan's heat ends; what stays in the tent raises its temperature.
    headroom_lost_m : float
        Height taken under the roof poles [m].
    lamp_lowered_m : float
        How much lower the lamp must hang for it [m].
    lamp_at_most_m : float
        Highest the lamp's body can hang over the floor [m].
    pole_load_kg : float
        What hangs from the roof poles besides the lamp [kg].
    floor_space_m2 : float
        Floor or shelf taken outside the tent [m²].
    duct_m, bends : float
        Duct and 90° bends needed.
    smell_path : str
        "suction" or "pressure": how the air stands that still smells, outside the tent.
    leaks_smell : int
        0: not by design; 1: at one joint; 2: along the duct.
    noise_side : str
        "tent" or "room": where the fan stands.
    """

    arrangement: Arrangement
    point: OperatingPoint | None
    motor_heat_in_tent_w: float | None
    motor_heat_outside_w: float | None
    headroom_lost_m: float
    lamp_lowered_m: float
    lamp_at_most_m: float
    pole_load_kg: float
    floor_space_m2: float
    duct_m: float
    bends: float
    smell_path: Literal["suction", "pressure"]
    leaks_smell: int
    noise_side: Literal["tent", "room"]

    @property
    def fan_inside(self) -> bool:
        """Whether the fan hangs in the tent."""
        return self.noise_side == "tent"

    @property
    def filter_inside(self) -> bool:
        """Whether the filter hangs in the tent."""
        return self.arrangement in ("both_inside", "filter_inside_fan_outside")


def place_all(sizing: Sizing, hardware: Hardware | None = None) -> tuple[Placement, ...]:
    """All four ways for one tent, in the order of `ARRANGEMENTS`.

    Parameters
    ----------
    sizing : Sizing
        The tent and its fan.
    hardware : Hardware or None
        Size and mass of fan and filter; typical ones for the duct's inside diameter by default.
    """
    rig = sizing.plan.rig
    things = hardware or Hardware.typical(rig.inside_diameter_m, rig.has_filter)
    return tuple(_place(sizing, things, arrangement) for arrangement in ARRANGEMENTS)


def recommend(
    placements: Sequence[Placement], priorities: Sequence[Priority], required_m3_s: float
) -> Placement:
    """The placement that serves best what matters, first things first.

    One that delivers what the tent needs goes before one that does not. Then the priorities
    decide in their order; what they leave open goes to the least floor space, the lightest load on
    the poles and the largest flow.

    Parameters
    ----------
    placements : sequence of Placement
        What there is to choose from, not empty.
    priorities : sequence of str
        Of "smell", "headroom", "lamp_height", "floor_space", the most important first.
    required_m3_s : float
        Flow the tent needs [m³/s].
    """

    def rank(placement: Placement) -> tuple[float, ...]:
        flow = placement.point.flow_m3_s if placement.point else 0.0
        short = placement.point is not None and flow < required_m3_s
        wished = [_cost(placement, priority) for priority in priorities]
        rest = (placement.floor_space_m2, placement.pole_load_kg, -flow)
        return (float(short), *(round(cost, 3) for cost in (*wished, *rest)))

    return min(placements, key=rank)


def hardware_assumptions(sizing: Sizing, given: frozenset[str]) -> tuple[Assumption, ...]:
    """Sizes and masses taken from what is commonly sold, unless given.

    Parameters
    ----------
    sizing : Sizing
        The tent and its fan.
    given : frozenset of str
        Names of the fields of `Hardware` that somebody measured.
    """
    rig = sizing.plan.rig
    typical = Hardware.typical(rig.inside_diameter_m, rig.has_filter)
    low, high = _MASS_DOUBT
    basis = "typical for the inside diameter, common practice"
    wanted = [
        ("fan's mass", "fan_mass_kg", "mass", "--fan-mass"),
        ("fan's diameter", "fan_diameter_m", "length", "--fan-diameter"),
    ]
    if rig.has_filter:
        wanted += [
            ("filter's mass", "filter_mass_kg", "mass", "--filter-mass"),
            ("filter's diameter", "filter_diameter_m", "length", "--filter-diameter"),
        ]
    return tuple(
        Assumption(
            what,
            Span(value * low, value, value * high) if kind == "mass" else Span.known(value),
            kind,
            basis,
            option,
        )
        for what, name, kind, option in wanted
        if name not in given
        for value in (float(getattr(typical, name)),)
    )


def _place(sizing: Sizing, things: Hardware, arrangement: Arrangement) -> Placement:
    plan = sizing.plan
    fan_inside = arrangement in ("both_inside", "fan_inside_filter_outside")
    filter_inside = arrangement in ("both_inside", "filter_inside_fan_outside")
    moved = Sizing(replace(plan, rig=replace(plan.rig, arrangement=arrangement)))
    point = (
        plan.rig.point(1.0, sizing.density_kg_per_m3, "best", arrangement)
        if plan.rig.has_fan
        else None
    )
    in_tent = moved.plan.fan_heat_in_tent_w(1.0, "best") if point else None
    hanging = [things.fan_diameter_m] * fan_inside + [things.filter_diameter_m] * filter_inside
    thickest = max(hanging, default=0.0)
    headroom_m = thickest + STRAP_M if thickest > 0.0 else 0.0
    lowered_m = max(0.0, headroom_m + LAMP_CLEARANCE_M - LAMP_HANGER_M) if headroom_m else 0.0
    standing_m2 = (not fan_inside) * things.fan_diameter_m * things.fan_length_m
    standing_m2 += (not filter_inside) * things.filter_diameter_m * things.filter_length_m
    path, leaks = _smell(arrangement, plan.rig.has_filter)
    here = plan.rig.arrangement
    return Placement(
        arrangement=arrangement,
        point=point,
        motor_heat_in_tent_w=in_tent,
        motor_heat_outside_w=None if point is None or in_tent is None else point.power_w - in_tent,
        headroom_lost_m=headroom_m,
        lamp_lowered_m=lowered_m,
        lamp_at_most_m=max(0.0, plan.height_m - LAMP_HANGER_M - lowered_m),
        pole_load_kg=fan_inside * things.fan_mass_kg + filter_inside * things.filter_mass_kg,
        floor_space_m2=standing_m2,
        duct_m=max(
            0.0, plan.rig.duct_length() + EXTRA_LENGTH_M[arrangement] - EXTRA_LENGTH_M[here]
        ),
        bends=max(0.0, plan.rig.bend_count() + EXTRA_BENDS[arrangement] - EXTRA_BENDS[here]),
        smell_path=path,
        leaks_smell=leaks,
        noise_side="tent" if fan_inside else "room",
    )


def _smell(
    arrangement: Arrangement, has_filter: bool
) -> tuple[Literal["suction", "pressure"], int]:
    """How the unfiltered air stands outside the tent, and how badly that leaks smell.

    Under suction a leak draws room air in; under pressure it lets the tent's air out.
    """
    if not has_filter:
        return "pressure", 2
    if arrangement in ("both_inside", "filter_inside_fan_outside"):
        return "suction", 0
    if arrangement == "fan_inside_filter_outside":
        return "pressure", 2
    return "suction", 1  # the duct sucks as far as the fan; its joint to the filter is pressed


def _cost(placement: Placement, priority: Priority) -> float:
    return {
        "smell": float(placement.leaks_smell),
        "headroom": placement.headroom_lost_m,
        "lamp_height": placement.lamp_lowered_m,
        "floor_space": placement.floor_space_m2,
    }[priority]


def _between_sizes(inside_diameter_m: float) -> tuple[float, ...]:
    if inside_diameter_m <= _SOLD[0][0]:
        return _SOLD[0][1]
    for (small, figures), (large, larger) in pairwise(_SOLD):
        if inside_diameter_m <= large:
            share = (inside_diameter_m - small) / (large - small)
            return tuple(a + share * (b - a) for a, b in zip(figures, larger, strict=True))
    return _SOLD[-1][1]
