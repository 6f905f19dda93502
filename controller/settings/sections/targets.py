"""`targets`, `overrides` and `failsafe`: the bands and what leaving them does."""

from __future__ import annotations

from pydantic import Field

from controller.settings.quantities import (
    Band,
    Duration,
    Humidity,
    HumidityDifference,
    Pressure,
    Section,
    Speed,
    Temperature,
    TemperatureDifference,
)


class DayTargets(Section):
    """The bands while the lamp is lit."""

    temperature_c: Band[Temperature] = Field(Band(21.1, 23.9), alias="temperature")
    humidity_pct: Band[Humidity] = Field(Band(40.0, 70.0), alias="humidity")
    vpd_pa: Band[Pressure] = Field(Band(600.0, 1600.0), alias="vpd")


class NightTargets(Section):
    """The bands while the lamp is dark."""

    temperature_c: Band[Temperature] = Field(Band(15.6, 23.9), alias="temperature")
    humidity_pct: Band[Humidity] = Field(Band(40.0, 80.0), alias="humidity")
    vpd_pa: Band[Pressure] = Field(Band(300.0, 1600.0), alias="vpd")


class Targets(Section):
    """The crop's bands."""

    day: DayTargets = Field(default_factory=lambda: DayTargets())
    night: NightTargets = Field(default_factory=lambda: NightTargets())
    heat_warning_c: Temperature = Field(
        26.7, alias="heat_warning", description="Flowers begin to drop above this."
    )
    dew_point_margin_k: TemperatureDifference = Field(
        1.0, alias="dew_point_margin", description="Least distance of a surface from the dew point."
    )


class TemperatureOverride(Section):
    """More air when too hot, less when too cold."""

    deadband_k: TemperatureDifference = Field(1.0, alias="deadband")
    delay_s: Duration = Field(60.0, alias="delay")
    speed: Speed = Field(1.0, description="Fan speed while too hot.")
    reduced_speed: Speed | None = Field(
        None, description="Speed the schedule is lowered to while too cold; default night_speed."
    )


class HumidityOverride(Section):
    """More air when too humid, less when too dry."""

    deadband_pct: HumidityDifference = Field(4.0, alias="deadband")
    delay_s: Duration = Field(120.0, alias="delay")
    speed: Speed = Field(1.0, description="Fan speed while too humid.")
    reduced_speed: Speed | None = Field(
        None, description="Speed while too dry; default night_speed."
    )


class VpdOverride(Section):
    """More air when VPD is too low, less when it is too high."""

    deadband_pa: Pressure = Field(150.0, alias="deadband")
    delay_s: Duration = Field(120.0, alias="delay")
    speed: Speed = Field(1.0, description="Fan speed while VPD is too low.")
    reduced_speed: Speed | None = Field(
        None, description="Speed while too high; default night_speed."
    )


class DewPointOverride(Section):
    """More air when a surface comes near the dew point."""

    deadband_k: TemperatureDifference = Field(1.0, alias="deadband")
    delay_s: Duration = Field(120.0, alias="delay")
    speed: Speed = Field(1.0, description="Fan speed while a surface is near the dew point.")


class Overrides(Section):
    """What the controller does when a reading leaves its band."""

    temperature: TemperatureOverride = Field(default_factory=lambda: TemperatureOverride())
    humidity: HumidityOverride = Field(default_factory=lambda: HumidityOverride())
    vpd: VpdOverride = Field(default_factory=lambda: VpdOverride())
    dew_point: DewPointOverride = Field(default_factory=lambda: DewPointOverride())


class Failsafe(Section):
    """What to do without a reading that can be trusted."""

    stale_after_s: Duration = Field(
        120.0, alias="stale_after", description="Oldest usable reading."
    )
    speed: Speed = Field(1.0, description="Fan speed without a usable tent reading.")
