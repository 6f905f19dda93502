"""How fast the tent's air is renewed, by how a difference dies away; and whether that is as
calculated. Pure.

Humidity tells best: water vapour is carried out by the air and by little else. Temperature tells
only that air moves, since pots and fabric give back heat for many minutes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller import air, display
from controller.airflow.span import Span
from controller.commissioning.decay import Decay, NoDecay, fit_decay
from controller.commissioning.findings import Finding
from controller.decision.types import Reading
from controller.display import Units

# Lags of bare sensors in still air inside their housings (engineering judgement, no source).
HUMIDITY_LAG_S = 8.0
TEMPERATURE_LAG_S = 20.0
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
    findings : tuple of Finding
        What follows.
    """

    speed: float
    humidity: Decay | NoDecay
    temperature: Decay | NoDecay
    flow_m3_s: Span | None
    calculated_m3_s: Span | None
    findings: tuple[Finding, ...]


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
    humidity = _fit(
        [
            (r.monotonic_s, air.humidity_ratio(r.temperature_c, r.humidity_pct, pressure_pa))
            for r in readings
        ],
        started_s,
        LEAST_FALL_KG_PER_KG,
        HUMIDITY_LAG_S,
    )
    temperature = _fit(
        [(r.monotonic_s, r.temperature_c) for r in readings],
        started_s,
        LEAST_FALL_K,
        TEMPERATURE_LAG_S,
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


def _fit(
    points: Sequence[tuple[float, float]], started_s: float, least_fall: float, lag_s: float
) -> Decay | NoDecay:
    # The sensor's own lag bends the first moments.
    used = [(t, value) for t, value in points if t >= started_s + 2.0 * lag_s]
    return fit_decay(
        [t for t, _ in used],
        [value for _, value in used],
        least_fall=least_fall,
        sensor_lag_s=lag_s,
    )


def _findings(
    speed: float,
    humidity: Decay | NoDecay,
    temperature: Decay | NoDecay,
    flow: Span | None,
    calculated: Span | None,
    volume_m3: float,
    units: Units,
) -> list[Finding]:
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
            Finding(
                "fine",
                f"The tent's air is renewed faster {at} than the sensor can follow: at least once "
                f"in {display.duration(1.0 / bound)}, "
                f"{display.flow(volume_m3 * bound, units)} or more.",
            )
        )
    elif isinstance(temperature, Decay):
        findings.append(
            Finding(
                "fine",
                f"Fresh air comes in {at}: the temperature settles in "
                f"{display.duration(temperature.time_constant_s)} to a third. How much air that "
                f"is cannot be told from temperature, since pots and fabric hold heat; by "
                f"humidity it could not be timed: {reason}.",
            )
        )
    else:
        findings.append(
            Finding(
                "advice",
                f"The air change could not be timed {at}: {reason}. Try again with the tent well "
                "warmed or damp inside (a wet cloth) and the room cool and dry.",
            )
        )
    return findings


def _against_calculation(timed: str, flow: Span, calculated: Span | None, units: Units) -> Finding:
    if calculated is None:
        return Finding(
            "fine",
            f"{timed}. With fan.free_flow in the config it could be compared with the fan's.",
        )
    sheet = (
        f"fan and duct should give {display.flow(calculated.low, units)} to "
        f"{display.flow(calculated.high, units)}"
    )
    if flow.high < calculated.low:
        return Finding(
            "advice",
            f"{timed}, less than calculated: {sheet}. Look for a crushed or slack duct, sharp "
            "bends, a clogged filter, closed intake openings.",
        )
    if flow.low > calculated.high:
        return Finding(
            "advice",
            f"{timed}, more than calculated: {sheet}. Check fan, duct and the tent's size in the "
            "config; plants that transpire strongly also look like more air.",
        )
    return Finding("fine", f"{timed}; as calculated: {sheet}.")


def _span_of_time(low_s: float, high_s: float) -> str:
    low, high = display.duration(low_s), display.duration(high_s)
    return f"95 % limits {low} to {high}" if low != high else f"limits both {low}"
