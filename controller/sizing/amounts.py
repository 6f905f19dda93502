"""Figures and their doubt as people read them."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from controller import display
from controller.airflow.span import Assumption, Span
from controller.display import Units
from controller.sizing.steady import HOTTEST_C
from controller.tables import wrapped


def item(text: str, width: int) -> list[str]:
    """A sentence in lines with a dash in front."""
    return wrapped(text, width, first="  - ")


def span(value: Span, show: Callable[[float], str]) -> str:
    """A doubtful figure as "68 to 94 cfm"; a known one as "88 cfm"."""
    low, high = show(value.low), show(value.high)
    if math.isinf(value.low):
        return "no flow helps"
    if math.isinf(value.high):
        return f"{'0' if value.low == 0.0 else low} to no limit"
    if low == high:
        return low
    number, _, unit = low.rpartition(" ")
    same_unit = high.count(" ") == 1 and high.endswith(f" {unit}")
    if value.low == 0.0 and " " in high:
        number = "0"
    return f"{number} to {high}" if number and same_unit else f"{low} to {high}"


def with_range(value: Span, show: Callable[[float], str]) -> str:
    """A figure and its one range, as "30 cfm (21 to 290)"; a known one as "30 cfm"."""
    best = show(value.best)
    within = span(value, show)
    if within in (best, show(value.high)):
        return best
    if math.isinf(value.high) and math.isfinite(value.best):
        return f"{best} ({show(value.low).rpartition(' ')[0] or '0'} to no limit)"
    _, _, unit = best.rpartition(" ")
    return f"{best} ({within.removesuffix(f' {unit}')})"


def computed_flow(flow_m3_s: float, units: Units) -> str:
    """A flow that was worked out, to three digits at most: "88 cfm", "1340 m³/h"."""
    shown = display.flow(flow_m3_s, units)
    number, _, unit = shown.partition(" ")
    if len(number) <= 3 or "." in number:
        return shown
    return f"{float(f'{float(number):.3g}'):.0f} {unit}"


def opening(area_m2: float, units: Units) -> str:
    """The free area of openings, as one measures them: "100 cm²" or "15 in²"."""
    value, unit = (area_m2 / 0.0254**2, "in²") if units == "us" else (area_m2 * 1e4, "cm²")
    return f"{float(f'{value:.2g}'):.0f} {unit}"


def flow(flow_m3_s: float, units: Units) -> str:
    """A need as "30 cfm"; "none" where it would show as nothing, "out of reach" where endless."""
    if math.isinf(flow_m3_s):
        return "out of reach"
    shown = computed_flow(flow_m3_s, units)
    return "none" if shown.startswith("0.0 ") else shown


def settled(temperature_c: float, units: Units) -> str:
    """Where the air settles, as "24.0 °C"; beyond the range of the model as ">70.0 °C"."""
    shown = display.temperature(temperature_c, units)
    return f">{shown}" if temperature_c >= HOTTEST_C - 0.1 else shown


def about(temperature_c: float, units: Units) -> str:
    """A temperature that is doubtful by kelvins, in whole degrees; as `settled` at the end."""
    number, _, unit = display.temperature(temperature_c, units).rpartition(" ")
    hottest = ">" if temperature_c >= HOTTEST_C - 0.1 else ""
    return f"{hottest}{float(number.replace('−', '-')):.0f} {unit}"


def ppm(value: float) -> str:
    """CO2 as "412 ppm"."""
    return f"{value:.0f} ppm"


def shower(kind: str, units: Units) -> Callable[[float], str]:
    """The function that shows a figure of an assumption's kind."""
    in_units: dict[str, Callable[[float, Units], str]] = {
        "pressure": display.pressure,
        "flow": display.flow,
        "length": display.length,
        "area": display.area,
        "opening": opening,
        "temperature": display.temperature,
        "mass": display.mass,
    }
    if kind in in_units:
        return partial(_call, in_units[kind], units)
    return {
        "power": display.power,
        "humidity": display.humidity,
        "share": display.speed,
        "co2": ppm,
        "light": lambda value: f"{value:.0f} µmol/m²s",
        "transmittance": lambda value: f"{value:.1f} W/m²K",
        "conductance": lambda value: f"{value:g} mol/m²s",
        "number": lambda value: f"{value:g}",
    }[kind]


def assumption(assumed: Assumption, units: Units) -> tuple[str, str, str, str]:
    """What is assumed, its figure, within what limits, and which option does better."""
    show = shower(assumed.kind, units)
    within = "" if assumed.span.is_known else span(assumed.span, show)
    option = next((word for word in assumed.option.split() if word.startswith("--")), "")
    return assumed.what, show(assumed.span.best), within, option.rstrip(",")


def _call(show: Callable[[float, Units], str], units: Units, value: float) -> str:
    return show(value, units)
