"""What the charts share: their two sizes, and flow and pressure in the user's units."""

from __future__ import annotations

from typing import NamedTuple

from controller.display import Units
from controller.pages import svg
from controller.unit_factors import FACTORS


class ChartSize(NamedTuple):
    """One of a chart's two sizes: the page shows the one that its width has room for.

    Attributes
    ----------
    css : str
        The class by which the page's style shows or hides it.
    width, font : float
        Width of the drawing and size of its letters [px].
    is_narrow : bool
        Whether it is the one for a phone.
    """

    css: str
    width: float
    font: float
    is_narrow: bool


CHART_SIZES = (ChartSize("wide", 820.0, 13.0, False), ChartSize("narrow", 362.0, 12.5, True))


class AxisUnit(NamedTuple):
    """A unit of an axis: how many SI units one of it is, and its name."""

    si: float
    name: str


def flow_unit(units: Units) -> AxisUnit:
    """The unit of flow [m³/s]."""
    if units == "us":
        return AxisUnit(FACTORS["foot**3/minute", "m**3/second"][0], "cfm")
    return AxisUnit(FACTORS["m**3/hour", "m**3/second"][0], "m³/h")


def pressure_unit(units: Units) -> AxisUnit:
    """The unit of static pressure [Pa]."""
    return AxisUnit(FACTORS["inH2O", "Pa"][0], "inH2O") if units == "us" else AxisUnit(1.0, "Pa")


def drawing(size: ChartSize, height: float, label: str, *parts: str) -> str:
    """A chart as an SVG element that scales with the page.

    Parameters
    ----------
    size : ChartSize
        Its size.
    height : float
        Height of the drawing [px].
    label : str
        What it shows, read out instead of it.
    parts : str
        Its elements.
    """
    return svg.element(
        "svg",
        "".join(parts),
        class_=f"chart {size.css}",
        viewBox=f"0 0 {svg.num(size.width)} {svg.num(height)}",
        role="img",
        aria_label=label,
        style=f"font-size:{size.font}px",
    )
