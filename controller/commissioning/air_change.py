"""How fast the tent's air is renewed, by how a difference dies away; and whether that is as
calculated. Pure.

Humidity tells best: water vapour is carried out by the air and by little else. Temperature tells
only that air moves, since pots and fabric give back heat for many minutes.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from controller import air, display
from controller.airflow.span import Span
from controller.commissioning.decay import Decay, NoDecay, combined, fit_decay
from controller.commissioning.findings import TrialFinding
from controller.control.types import Reading
from controller.display import Units
from controller.sensors.data_sheets import DHT22_ERRORS, SHT_ERRORS


class Lags(NamedTuple):
    """Time constants of one sensor in nearly still air [s]."""

    temperature_s: float
    humidity_s: float


# A slow sensor in its housing, a quick one, and one that hardly lags (engineering judgement, no
# source); others lie between.
SENSOR_LAGS = (
    *(Lags(e.lag_temperature_s, e.lag_humidity_s) for e in (DHT22_ERRORS, SHT_ERRORS)),
    Lags(2.0, 2.0),
)
LEAST_FALL_KG_PER_KG = 0.3e-3
LEAST_FALL_K = 0.8
# What else moves the tent's vapour while it is timed: imperfect mixing either way; and plants that
# breathe the more the drier it gets, which looks like up to so much more air (engineering
# judgement; a lamp opens their stomata).
MIXING = 0.15
PLANTS = 0.20


@dataclass(frozen=True, slots=True)
class AirChange:
    """A timed air change.

    Attributes
    ----------
    speed : float
        Fan speed, 0–1.
    humidity, temperature : Decay or NoDecay
        How the humidity ratio [kg/kg] and the temperature [°C] settled.
    flow_m3_s : Span or None
        What that means for the flow [m³/s], from the humidity.
    calculated_m3_s : Span or None
        What fan and duct should give [m³/s]; None when the fan is not described.
    findings : tuple of TrialFinding
        What follows.
    """

    speed: float
    humidity: Decay | NoDecay
    temperature: Decay | NoDecay
    flow_m3_s: Span | None
    calculated_m3_s: Span | None
    findings: tuple[TrialFinding, ...]


def time_air_change(
    readings: Sequence[Reading],
    *,
    started_s: float,
    speed: float,
    volume_m3: float,
    pressure_pa: float,
    calculated_m3_s: Span | None,
    units: Units,
) -> AirChange:
    """Time the air change from readings taken while the fan ran at one speed.

    Parameters
    ----------
    readings : sequence of Reading
        The tent's, in order of time; earlier ones than `started_s` are left out.
    started_s : float
        When the fan started, on the readings' clock [s].
    speed : float
        Its speed, 0–1.
    volume_m3 : float
        The tent's inside volume [m³].
    pressure_pa : float
        Air pressure [Pa].
    calculated_m3_s : Span or None
        The flow that fan and duct should give [m³/s].
    units : {"si", "us"}
        For the findings.
    """
    used = [r for r in readings if r.monotonic_s >= started_s]
    times = [r.monotonic_s for r in used]
    humidity = combined(
        [
            fit_decay(times, ratios, least_fall=LEAST_FALL_KG_PER_KG, sensor_lag_s=lag_s)
            for lag_s, ratios in _humidity_ratios(used, pressure_pa)
        ]
    )
    temperature = combined(
        [
            fit_decay(
                times,
                [r.temperature_c for r in used],
                least_fall=LEAST_FALL_K,
                sensor_lag_s=lags.temperature_s,
            )
            for lags in SENSOR_LAGS
        ]
    )
    flow = None
    if isinstance(humidity, Decay):
        flow = Span(
            humidity.low_per_s * volume_m3 * (1.0 - MIXING - PLANTS),
            humidity.rate_per_s * volume_m3,
            humidity.high_per_s * volume_m3 * (1.0 + MIXING),
        )
    findings = _findings(speed, humidity, temperature, flow, calculated_m3_s, volume_m3, units)
    return AirChange(speed, humidity, temperature, flow, calculated_m3_s, tuple(findings))


def _humidity_ratios(
    readings: Sequence[Reading], pressure_pa: float
) -> list[tuple[float, list[float]]]:
    """Humidity ratios [kg/kg] as they follow the air's with one lag [s], in two ways for each of
    `SENSOR_LAGS`.

    A humidity ratio is worked out of two readings with different lags, and while the temperature
    falls that alone looks like drying. The quicker of the two is slowed to the other's lag; which
    one that is depends on what the relative humidity refers to: the air's temperature (humidity is
    the quicker one), or the element's own (then temperature and vapour already belong together,
    and the humidity element's lag is to be given to the temperature too).
    """
    times = [r.monotonic_s for r in readings]
    temperatures_c = [r.temperature_c for r in readings]
    humidities_pct = [r.humidity_pct for r in readings]
    series = []
    for lags in SENSOR_LAGS:
        slowed_c = _slowed(times, temperatures_c, lags.humidity_s)
        series.append((lags.humidity_s, slowed_c, humidities_pct))
        # From one lag to the other: (1 + s L_humidity) / (1 + s L_temperature).
        share = lags.humidity_s / lags.temperature_s
        slowed_pct = [
            share * value + (1.0 - share) * slow
            for value, slow in zip(
                humidities_pct, _slowed(times, humidities_pct, lags.temperature_s), strict=True
            )
        ]
        series.append((lags.temperature_s, temperatures_c, slowed_pct))
    return [
        (
            lag_s,
            [
                air.humidity_ratio(t_c, rh_pct, pressure_pa)
                for t_c, rh_pct in zip(all_c, all_pct, strict=True)
            ],
        )
        for lag_s, all_c, all_pct in series
    ]


def _slowed(times_s: Sequence[float], values: Sequence[float], lag_s: float) -> list[float]:
    """What a sensor with this lag [s] would read of the values."""
    slowed = list(values[:1])
    for (before_s, now_s), value in zip(itertools.pairwise(times_s), values[1:], strict=True):
        share = -math.expm1(-(now_s - before_s) / lag_s)
        slowed.append(slowed[-1] + share * (value - slowed[-1]))
    return slowed


def _findings(
    speed: float,
    humidity: Decay | NoDecay,
    temperature: Decay | NoDecay,
    flow: Span | None,
    calculated: Span | None,
    volume_m3: float,
    units: Units,
) -> list[TrialFinding]:
    at = f"at {display.speed(speed)}"
    if isinstance(humidity, Decay) and flow is not None:
        span = _span_of_time(1.0 / humidity.high_per_s, 1.0 / humidity.low_per_s)
        timed = (
            f"The tent's air is renewed once in {display.duration(humidity.time_constant_s)} {at} "
            f"({span}), a flow of about {display.flow(flow.best, units)} "
            f"({display.flow(flow.low, units)} to {display.flow(flow.high, units)})"
        )
        return [_against_calculation(timed, flow, calculated, units)]
    reason = humidity.reason if isinstance(humidity, NoDecay) else ""
    bound = humidity.at_least_per_s if isinstance(humidity, NoDecay) else None
    findings = []
    if bound is not None:
        findings.append(
            TrialFinding(
                "fine",
                f"The tent's air is renewed faster {at} than the sensor can follow: at least once "
                f"in {display.duration(1.0 / bound)}, "
                f"{display.flow(volume_m3 * bound, units)} or more.",
            )
        )
    elif isinstance(temperature, Decay):
        findings.append(
            TrialFinding(
                "fine",
                f"Fresh air comes in {at}: the temperature settles in "
                f"{display.duration(temperature.time_constant_s)} to a third. How much air that "
                f"is cannot be told from temperature, since pots and fabric hold heat; by "
                f"humidity it could not be timed: {reason}.",
            )
        )
    else:
        findings.append(
            TrialFinding(
                "advice",
                f"The air change could not be timed {at}: {reason}. Try again with the tent well "
                "warmed or damp inside (a wet cloth) and the room cool and dry.",
            )
        )
    return findings


def _against_calculation(
    timed: str, flow: Span, calculated: Span | None, units: Units
) -> TrialFinding:
    if calculated is None:
        return TrialFinding(
            "fine",
            f"{timed}. With fan.free_flow in the config it could be compared with the fan's.",
        )
    sheet = (
        f"fan and duct should give {display.flow(calculated.low, units)} to "
        f"{display.flow(calculated.high, units)}"
    )
    if flow.high < calculated.low:
        return TrialFinding(
            "advice",
            f"{timed}, less than calculated: {sheet}. Look for a crushed or slack duct, sharp "
            "bends, a clogged filter, closed intake openings.",
        )
    if flow.low > calculated.high:
        return TrialFinding(
            "advice",
            f"{timed}, more than calculated: {sheet}. Check fan, duct and the tent's size in the "
            "config; plants that transpire strongly also look like more air.",
        )
    return TrialFinding("fine", f"{timed}; as calculated: {sheet}.")


def _span_of_time(low_s: float, high_s: float) -> str:
    low, high = display.duration(low_s), display.duration(high_s)
    return f"95 % limits {low} to {high}" if low != high else f"limits both {low}"
