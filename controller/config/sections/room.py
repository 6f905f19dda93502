"""`duct`, `crop` and `room`: what sizing, advice and rehearsal ask for, and the default bands."""

from __future__ import annotations

from typing import Annotated, Literal

from controller.config.quantities import Area, QuantityRange
from controller.config.section import Section, key

Stage = Literal["seedling", "vegetative", "flowering", "fruiting"]

InsideDiameter = Annotated[float, QuantityRange("length", 0.03, 1.0)]
Drop = Annotated[float, QuantityRange("pressure", 0.0, 5_000.0)]
RatedFlow = Annotated[float, QuantityRange("flow", 0.001, 5.0)]


class FilterConfig(Section):
    """The carbon filter: the pressure it costs at one flow."""

    pressure_drop_pa: Drop = key(written="pressure_drop", description="At `flow`, when clean.")
    flow_m3_s: RatedFlow = key(
        written="flow", description="The flow the pressure drop is given for."
    )


class Intake(Section):
    """The openings the air comes in by."""

    openings: int = key(default=1, ge=1, le=20, description="How many passive openings.")
    diameter_m: InsideDiameter | None = key(
        default=None, written="diameter", description="Diameter of each, when round."
    )
    area_m2: Area | None = key(
        default=None, written="area", description="Free area of each, otherwise."
    )


class DuctConfig(Section):
    """The duct between tent and outside."""

    diameter_m: InsideDiameter = key(written="diameter", description="Inside diameter.")
    length_m: Annotated[float, QuantityRange("length", 0.0, 100.0)] = key(
        written="length", description="Length of the whole run."
    )
    bends: int = key(default=0, ge=0, le=20, description="Number of 90° bends.")
    kind: Literal["smooth", "flexible_stretched", "flexible_slack"] = key(
        default="flexible_stretched",
        description="Smooth pipe, or flexible duct pulled tight or left slack.",
    )
    filter: FilterConfig | None = key(default=None, description="Carbon filter; default none.")
    intake: Intake | None = key(default=None, description="Intake openings; default none known.")
    arrangement: Literal[
        "both_inside", "fan_inside_filter_outside", "filter_inside_fan_outside", "both_outside"
    ] = key(
        default="both_inside", description="Where fan and filter stand, inside or outside the tent."
    )


class Crop(Section):
    """What grows, for its transpiration and the bands that are not given."""

    kind: Literal["pepper", "tomato", "lettuce", "basil", "herbs", "other"] = key(
        default="other", description="What grows."
    )
    leaf_area_m2: Area | None = key(
        default=None,
        written="leaf_area",
        description="Total leaf area, one side; else plants and stage.",
    )
    plants: int | None = key(default=None, ge=0, le=10_000, description="Number of plants.")
    stage: Stage | None = key(default=None, description="How far they are.")


class RoomConfig(Section):
    """Where the tent stands."""

    kind: Literal["room", "cellar", "closet", "attic"] = key(
        default="room", description="The kind of room around the tent."
    )
