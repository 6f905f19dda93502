"""`targets`, `overrides` and `failsafe`: the bands and what leaving them does.

The default bands follow the crop, from the table in `controller.config.crop_bands`; those declared
here hold where the config names no crop.
"""

from __future__ import annotations

from typing import Annotated, Literal

from controller import units
from controller.config import crop_bands
from controller.config.quantities import Band, QuantityRange, Speed
from controller.config.section import Section, key

_TEMPERATURES = crop_bands.temperatures("other")
_MOISTURE = crop_bands.moisture("other", None)


def _band(limits: crop_bands.Limits, kind: str) -> Band[float]:
    """A band of the table in SI."""
    low, high = (units.parse(limit, kind) for limit in limits)
    return Band(low, high)


AirTemperature = Annotated[float, QuantityRange("temperature", -10.0, 50.0)]
AirHumidity = Annotated[float, QuantityRange("humidity", 0.0, 100.0)]
AirVpd = Annotated[float, QuantityRange("pressure", 0.0, 10_000.0)]
Delay = Annotated[float, QuantityRange("duration", 0.0, 3600.0)]
Kelvins = Annotated[float, QuantityRange("temperature_difference", 0.0, 20.0)]
Co2Difference = Annotated[float, QuantityRange("co2", 0.0, 200.0)]
Points = Annotated[float, QuantityRange("humidity_difference", 0.0, 50.0)]


class DayTargets(Section):
    """The bands while the lamp is lit."""

    temperature_c: Band[AirTemperature] = key(
        default=_band(_TEMPERATURES.day, "temperature"),
        written="temperature",
        description="Air temperature, [low, high]; the default follows the crop.",
    )
    humidity_pct: Band[AirHumidity] = key(
        default=_band(_MOISTURE.day_humidity, "humidity"),
        written="humidity",
        description="Relative humidity, [low, high]; the default follows the crop.",
    )
    vpd_pa: Band[AirVpd] = key(
        default=_band(_MOISTURE.day_vpd, "pressure"),
        written="vpd",
        description="VPD of the air, [low, high]; the default follows the crop.",
    )


class NightTargets(Section):
    """The bands while the lamp is dark."""

    temperature_c: Band[AirTemperature] = key(
        default=_band(_TEMPERATURES.night, "temperature"),
        written="temperature",
        description="Air temperature, [low, high]; the default follows the crop.",
    )
    humidity_pct: Band[AirHumidity] = key(
        default=_band(_MOISTURE.night_humidity, "humidity"),
        written="humidity",
        description="Relative humidity, [low, high]; the default follows the crop.",
    )
    vpd_pa: Band[AirVpd] = key(
        default=_band(_MOISTURE.night_vpd, "pressure"),
        written="vpd",
        description="VPD of the air, [low, high]; the default follows the crop.",
    )


class Targets(Section):
    """The crop's bands; what is not given follows `crop.kind` and `crop.stage`."""

    day: DayTargets = key(
        default_factory=DayTargets, description="The bands while the lamp is lit."
    )
    night: NightTargets = key(
        default_factory=NightTargets, description="The bands while the lamp is dark."
    )
    heat_warning_c: AirTemperature = key(
        default=units.parse(_TEMPERATURES.heat_warning, "temperature"),
        written="heat_warning",
        description="Above this you are warned; the default follows the crop.",
    )
    dew_point_margin_k: Kelvins = key(
        default=1.0,
        written="dew_point_margin",
        description="Least distance of the coldest surface from the dew point of the tent's air.",
    )
    low_co2_ppm: Annotated[float, QuantityRange("co2", 100.0, 400.0)] = key(
        default=300.0,
        written="low_co2",
        description="Below this plants starve in the light (common practice, no source). Needs a "
        "sensor of CO2 in the tent. Air outdoors has about 420 ppm.",
    )


class TemperatureOverride(Section):
    """More air when too hot, less when too cold."""

    hysteresis_k: Kelvins = key(
        default=1.0, written="hysteresis", description="How far back inside the band it lets go."
    )
    delay_s: Delay = key(
        default=60.0, written="delay", description="How long out of band before it acts."
    )
    speed: Speed = key(
        default=1.0, description="Fan speed while too hot; the most of it, where it is modulated."
    )
    worth_w_per_k: Annotated[float, QuantityRange("power_per_kelvin", 0.0, 10_000.0)] = key(
        default=60.0,
        written="worth",
        description="What a difference of temperature out of band is worth in fan power.",
    )
    reduced_speed: Speed | None = key(
        default=None,
        description="Speed the schedule is lowered to while too cold. Default: night_speed, and "
        "for a PWM fan no less than its min_speed.",
    )


class HumidityOverride(Section):
    """More air when too humid, less when too dry."""

    hysteresis_pct: Points = key(
        default=4.0, written="hysteresis", description="How far back inside the band it lets go."
    )
    delay_s: Delay = key(
        default=120.0, written="delay", description="How long out of band before it acts."
    )
    speed: Speed = key(
        default=1.0, description="Fan speed while too humid; the most of it, where modulated."
    )
    worth_w_per_pct: Annotated[float, QuantityRange("power_per_percent", 0.0, 1_000.0)] = key(
        default=6.0,
        written="worth",
        description="What a percent of humidity out of band is worth in fan power.",
    )
    reduced_speed: Speed | None = key(
        default=None, description="Speed while too dry. Default as for temperature."
    )


class VpdOverride(Section):
    """More air when VPD is too low, less when it is too high."""

    hysteresis_pa: Annotated[float, QuantityRange("pressure", 0.0, 5_000.0)] = key(
        default=150.0, written="hysteresis", description="How far back inside the band it lets go."
    )
    delay_s: Delay = key(
        default=120.0, written="delay", description="How long out of band before it acts."
    )
    speed: Speed = key(
        default=1.0, description="Fan speed while VPD is too low; the most of it, where modulated."
    )
    worth_w_per_pa: Annotated[float, QuantityRange("power_per_pascal", 0.0, 10.0)] = key(
        default=0.18,
        written="worth",
        description="What a VPD out of band is worth in fan power.",
    )
    reduced_speed: Speed | None = key(
        default=None, description="Speed while VPD is too high. Default as for temperature."
    )


class DewPointOverride(Section):
    """More air when a surface comes near the dew point."""

    hysteresis_k: Kelvins = key(
        default=1.0, written="hysteresis", description="How far beyond the margin it lets go."
    )
    delay_s: Delay = key(
        default=120.0, written="delay", description="How long so near before it acts."
    )
    speed: Speed = key(default=1.0, description="Fan speed while a surface is near the dew point.")


class Co2Override(Section):
    """More air when it has too little carbon dioxide while the lamp is lit. None is dosed."""

    hysteresis_ppm: Co2Difference = key(
        default=40.0, written="hysteresis", description="How far above the limit it lets go."
    )
    delay_s: Delay = key(
        default=300.0, written="delay", description="How long below the limit before it acts."
    )
    speed: Speed | None = key(
        default=None,
        description="Fan speed while too stale; too cold or too dry, no more than scheduled. "
        "Default: halfway from day_speed to full speed, of a relay full speed.",
    )


class DarkDuty(Section):
    """Runs and rests in turn, in the dark, while an override asks for air."""

    every_s: Annotated[float, QuantityRange("duration", 120.0, 14_400.0)] = key(
        default=1800.0, written="every", description="From the start of one run to the next."
    )
    length_s: Annotated[float, QuantityRange("duration", 60.0, 14_400.0)] = key(
        default=600.0, written="length", description="How long each run lasts."
    )


class Overrides(Section):
    """What the controller does when a reading leaves its band."""

    temperature: TemperatureOverride = key(
        default_factory=TemperatureOverride, description="Too hot or too cold."
    )
    humidity: HumidityOverride = key(
        default_factory=HumidityOverride, description="Too humid or too dry."
    )
    vpd: VpdOverride = key(default_factory=VpdOverride, description="VPD too low or too high.")
    dew_point: DewPointOverride = key(
        default_factory=DewPointOverride, description="A surface near the dew point."
    )
    co2: Co2Override = key(
        default_factory=Co2Override, description="Stale air: too little carbon dioxide."
    )
    law: Literal["modulating", "fixed"] = key(
        default="modulating",
        description="modulating: the slowest speed that is worth its power, up to `speed`, for a "
        "PWM fan with an intake sensor; fixed: always `speed`, unless outside air can't help.",
    )
    every_s: Annotated[float, QuantityRange("duration", 60.0, 3600.0)] = key(
        default=900.0, written="every", description="How often a modulated speed is chosen anew."
    )
    step: Annotated[float, QuantityRange("speed", 0.05, 0.5)] = key(
        default=0.1, description="From one modulated speed to the next."
    )
    dark_speed: Speed = key(
        default=0.3,
        description="The most that heat asks for in the dark where no intake sensor tells: nothing "
        "heats a dark tent, and a little air does.",
    )
    dark_duty: DarkDuty | None = key(
        default=None,
        description="Runs and rests of a relay fan in the dark while it is too hot or too humid, "
        "instead of one long run; heat near the heat warning and a surface near the dew point go "
        "before it. Default: none.",
    )


class Failsafe(Section):
    """What to do without a reading that can be trusted."""

    stale_after_s: Annotated[float, QuantityRange("duration", 1.0, 3600.0)] = key(
        default=120.0,
        written="stale_after",
        description="Age from which a reading no longer counts.",
    )
    speed: Speed = key(default=1.0, description="Fan speed without a usable reading from the tent.")
