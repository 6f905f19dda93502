"""`tent`, `place` and `room`: where the plants stand."""

from __future__ import annotations

from typing import Annotated, Literal

from controller.config.quantities import Altitude, QuantityRange, ZoneName
from controller.config.section import Section, key

Side = Annotated[float, QuantityRange("length", 0.2, 10.0)]


class TentConfig(Section):
    """The closed fabric tent."""

    name: str = key(
        reopens=True,
        default="tent",
        min_length=1,
        max_length=60,
        description="What to call this tent.",
        examples=["chillies"],
    )
    width_m: Side = key(written="width", description="Inside width.")
    depth_m: Side = key(written="depth", description="Inside depth.")
    height_m: Side = key(written="height", description="Inside height.")
    elevation_m: Altitude = key(
        default=0.0,
        written="elevation",
        description="Height above sea level; thin air carries less heat.",
    )

    @property
    def volume_m3(self) -> float:
        """Inside volume [m³]."""
        return self.width_m * self.depth_m * self.height_m


class Place(Section):
    """Where on earth the tent stands, as far as clocks and units go."""

    timezone: ZoneName = key(
        reopens=True, description="IANA time zone of the lamp times, e.g. Europe/Rome."
    )
    units: Literal["si", "us"] | None = key(
        reopens=True,
        default=None,
        description="Units shown to you; default us when the file has temperatures in °F, else si.",
    )
