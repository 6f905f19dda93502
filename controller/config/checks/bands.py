"""Bands, hystereses and limits against one another and against what the sensors can tell."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from controller import air, display
from controller.config.checks.view import CheckedConfig, Objection
from controller.config.yaml_tree import KeyPath
from controller.kernel_sensors import is_one_wire_dht

_PHASES = ("day", "night")
_QUANTITIES = {
    "temperature": ("temperature_c", "hysteresis_k", "temperature_difference"),
    "humidity": ("humidity_pct", "hysteresis_pct", "humidity_difference"),
    "vpd": ("vpd_pa", "hysteresis_pa", "pressure"),
}
# Outdoor air, 420 ppm, less the error of an SCD40: 50 ppm and 5 % of the value (Sensirion SCD4x,
# version 1.4, 2023, from memory).
_LEAST_SHOWN_OUTDOORS_PPM = 349.0


def _order(view: CheckedConfig) -> Iterator[Objection]:
    """A band goes from low to high."""
    for phase in _PHASES:
        for quantity, (attribute, _, _) in _QUANTITIES.items():
            low, high = getattr(getattr(view.settings.targets, phase), attribute)
            path: KeyPath = ("targets", phase, quantity)
            if low >= high:
                yield Objection(
                    path,
                    f"`targets.{phase}.{quantity}`: the low limit is not below the high limit",
                    "[low, high]",
                )


def _hysteresis_fits_band(view: CheckedConfig) -> Iterator[Objection]:
    """Letting go a hysteresis inside the band must not land beyond its other limit."""
    units = view.settings.units
    for phase in _PHASES:
        for quantity, (attribute, name, kind) in _QUANTITIES.items():
            band: KeyPath = ("targets", phase, quantity)
            path: KeyPath = ("overrides", quantity, "hysteresis")
            low, high = getattr(getattr(view.settings.targets, phase), attribute)
            hysteresis = getattr(getattr(view.settings.overrides, quantity), name)
            if 0.0 < high - low <= hysteresis:
                yield Objection(
                    view.written(path, band),
                    f"a {quantity} hysteresis of {_amount(hysteresis, kind, units)} is no narrower "
                    f"than the {phase} band of {_amount(high - low, kind, units)}",
                    "a hysteresis well inside the band, at most half of it",
                    (path, band),
                )


def _outdoor_air_mends_stale_air(view: CheckedConfig) -> Iterator[Objection]:
    """Outdoor air must bring CO2 back, as the least exact sensor shows it."""
    limit: KeyPath = ("targets", "low_co2")
    hysteresis: KeyPath = ("overrides", "co2", "hysteresis")
    settings = view.settings
    back_ppm = settings.targets.low_co2_ppm + settings.overrides.co2.hysteresis_ppm
    if back_ppm > _LEAST_SHOWN_OUTDOORS_PPM:
        yield Objection(
            view.written(limit, hysteresis),
            f"too stale lets go at {display.co2(back_ppm)}, and a sensor in order may show outdoor "
            f"air as {display.co2(_LEAST_SHOWN_OUTDOORS_PPM)}: the fan might run without end",
            "`targets.low_co2` and `overrides.co2.hysteresis` that are less together",
            (limit, hysteresis),
            is_warning=True,
        )


def _amount(value: float, kind: str, units: display.Units) -> str:
    if kind == "pressure":  # VPD
        return display.vpd(value)
    if kind == "humidity_difference":
        return f"{value:g} %"
    return display.quantity(value, kind, units)


class _Honesty(NamedTuple):
    """The smallest hystereses a sensor's noise allows [K, %RH]."""

    temperature_k: float
    humidity_pct: float


# Worked out from repeatability and resolution in the makers' data sheets: DHT22 0.2 °C, 1 %RH,
# 0.1 steps; DHT11 1 °C, 1 %RH, whole steps; SHT3x and SHT4x at high repeatability.
_DHT22 = _Honesty(0.5, 2.7)
_DHT11 = _Honesty(3.0, 5.0)
_SHT = _Honesty(0.3, 2.0)
_ANY = _Honesty(0.1, 0.5)  # steadier than any of this kind; common practice, no source


def _hysteresis_exceeds_noise(view: CheckedConfig) -> Iterator[Objection]:
    """A hysteresis below the sensor's noise lets the fan chatter."""
    tent = [
        (index, _honesty(sensor.driver, sensor.device))
        for index, sensor in enumerate(view.settings.sensors)
        if sensor.role == "tent"
    ]
    if not tent:
        return
    index, honesty = max(tent, key=lambda item: item[1].temperature_k)
    sensor: KeyPath = ("sensors", index)
    least = {
        "temperature": honesty.temperature_k,
        "humidity": honesty.humidity_pct,
        "vpd": _vpd_noise_pa(view, honesty),
    }
    for quantity, (_, name, kind) in _QUANTITIES.items():
        path: KeyPath = ("overrides", quantity, "hysteresis")
        hysteresis = getattr(getattr(view.settings.overrides, quantity), name)
        if hysteresis < least[quantity]:
            units = view.settings.units
            yield Objection(
                view.written(path, (*sensor, "driver")),
                f"the {quantity} hysteresis of {_amount(hysteresis, kind, units)} is within the "
                f"noise of sensor `{view.settings.sensors[index].name}`, so the fan may chatter",
                f"`overrides.{quantity}.hysteresis` of at least "
                f"{_least(least[quantity], kind, units)}",
                (path, sensor),
                is_warning=True,
            )


def _least(value: float, kind: str, units: display.Units) -> str:
    if kind == "humidity_difference":
        return f"{value:.1f} %"
    if kind == "pressure":
        return display.vpd(math.ceil(value / 10.0) * 10.0)
    return display.quantity(value, kind, units)


def _honesty(driver: str, device: str | None) -> _Honesty:
    if driver == "dht11":
        return _DHT11
    # The kernel's dht11 driver serves the DHT22 as well and does not tell which it is.
    if driver == "dht22" or is_one_wire_dht(device):
        return _DHT22
    return _SHT if (device or "").lower().startswith("sht") else _ANY


def _vpd_noise_pa(view: CheckedConfig, honesty: _Honesty) -> float:
    """What both noises do to VPD in the middle of the day band, added as root of squares."""
    middle_c = sum(view.settings.targets.day.temperature_c) / 2.0
    humidity_pct = sum(view.settings.targets.day.humidity_pct) / 2.0
    saturation = air.saturation_vapour_pressure_pa
    slope = (saturation(middle_c + 0.5) - saturation(middle_c - 0.5)) * (1 - humidity_pct / 100)
    return math.hypot(
        slope * honesty.temperature_k, saturation(middle_c) * honesty.humidity_pct / 100.0
    )


def _bands_meet(view: CheckedConfig) -> Iterator[Objection]:
    """Some air must be inside all three bands at once, or two overrides pull against each other."""
    for phase in _PHASES:
        targets = getattr(view.settings.targets, phase)
        cold, hot = targets.temperature_c
        dry, humid = targets.humidity_pct
        least, most = air.vpd_pa(cold, humid), air.vpd_pa(hot, dry)
        low, high = targets.vpd_pa
        if cold >= hot or dry >= humid or low >= high or (least <= high and most >= low):
            continue
        base: KeyPath = ("targets", phase)
        yield Objection(
            view.written((*base, "vpd"), (*base, "temperature"), (*base, "humidity"), base),
            f"no air is inside all three {phase} bands: at these temperatures and humidities VPD "
            f"is {display.vpd(least)} to {display.vpd(most)}",
            "bands that some air fits",
            ((*base, "temperature"), (*base, "humidity"), (*base, "vpd")),
            is_warning=True,
        )


def _heat_limits(view: CheckedConfig) -> Iterator[Objection]:
    """Warning and cutout lie above the band they guard."""
    settings = view.settings
    units = settings.units
    high = settings.targets.day.temperature_c.high
    day: KeyPath = ("targets", "day", "temperature")
    warning: KeyPath = ("targets", "heat_warning")
    if settings.targets.heat_warning_c < high:
        yield Objection(
            view.written(warning, day),
            f"the heat warning at {display.temperature(settings.targets.heat_warning_c, units)} "
            f"lies inside the day band",
            f"`targets.heat_warning` of at least {display.temperature(high, units)}",
            (day, warning),
            is_warning=True,
        )
    cutout: KeyPath = ("lamp", "cutout", "above")
    switched_by: KeyPath = ("lamp", "switched_by")
    if settings.lamp.switched_by != "relay":
        if view.is_written(("lamp", "cutout")):
            yield Objection(
                ("lamp", "cutout"),
                "a lamp that lungwort does not switch cannot be cut",
                "`lamp.switched_by: relay`, or no `lamp.cutout`",
                (switched_by,),
                is_warning=True,
            )
    elif settings.lamp.cutout.above_c <= high:
        yield Objection(
            view.written(cutout, day),
            f"the lamp would be cut at {display.temperature(settings.lamp.cutout.above_c, units)}, "
            "inside the day band",
            f"`lamp.cutout.above` over {display.temperature(high, units)}",
            (day, cutout, switched_by),
        )


RULES = (
    _order,
    _hysteresis_fits_band,
    _hysteresis_exceeds_noise,
    _bands_meet,
    _heat_limits,
    _outdoor_air_mends_stale_air,
)
