"""Fan curve against system curve: static pressure over flow, the operating points where they meet.

The doubt of a curve is the band between its weakest and its strongest case; that of an operating
point lies where the bands cross.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from controller import display
from controller.airflow.span import Case
from controller.display import Units
from controller.pages import svg
from controller.pages.svg import Point, Scale
from controller.sizing import amounts as show
from controller.sizing.assess import Sizing, SpeedRow
from controller.sizing.drawn.scales import (
    CHART_SIZES,
    AxisUnit,
    ChartSize,
    drawing,
    flow_unit,
    pressure_unit,
)

_STEPS = 80
# A need beyond so many times what the fan moves is told at the edge instead of drawn.
_FARTHEST_NEED = 2.5


def fan_chart(sizing: Sizing, units: Units) -> str:
    """The chart in both sizes; empty where there is neither a fan nor a flow to meet."""
    if sizing.delivered is None and not math.isfinite(sizing.required_m3_s.best):
        return ""
    return "".join(_Chart.laid_out(sizing, units, size).drawn() for size in CHART_SIZES)


def drawn_speeds(sizing: Sizing) -> list[SpeedRow]:
    """The speeds whose curves are drawn: every second, full speed among them."""
    return list(sizing.speed_rows[::-1][::2][::-1])


@dataclass(frozen=True)
class _Chart:
    sizing: Sizing
    units: Units
    size: ChartSize
    height: float
    x: Scale
    y: Scale

    @classmethod
    def laid_out(cls, sizing: Sizing, units: Units, size: ChartSize) -> _Chart:
        """Lay the chart out."""
        height = 300.0 if size.is_narrow else 400.0
        flow, pressure = _extent(sizing)
        left = 46.0 if size.is_narrow else 58.0
        return cls(
            sizing,
            units,
            size,
            height,
            Scale(0.0, flow, left, size.width - 12.0),
            Scale(0.0, pressure, height - 44.0, 22.0),
        )

    def drawn(self) -> str:
        """The chart as SVG."""
        return drawing(
            self.size,
            self.height,
            self._label(),
            *self._axes(),
            *self._need(),
            *self._system(),
            *self._fan(),
            *self._points(),
        )

    def _label(self) -> str:
        text = "Static pressure over flow: the system curve of duct, filter and intake"
        point = self.sizing.delivered
        if point is None:
            return f"{text}; no fan is named."
        flow = show.computed_flow(point.flow_m3_s, self.units)
        return (
            f"{text} meets the fan's curve at {flow} and "
            f"{display.pressure(point.pressure_pa, self.units)} at full speed."
        )

    def _axes(self) -> Iterator[str]:
        bottom, left, right = self.y(0.0), self.x.start, self.x.end
        flow, pressure = flow_unit(self.units), pressure_unit(self.units)
        about = 4 if self.size.is_narrow else 7
        for value in svg.round_ticks(0.0, self.y.high / pressure.si, 5):
            at = self.y(value * pressure.si)
            yield svg.line(left, at, right, at, class_="grid")
            yield svg.text(left - 6, at + 4, f"{value:g}", class_="tick", text_anchor="end")
        for value in svg.round_ticks(0.0, self.x.high / flow.si, about):
            at = self.x(value * flow.si)
            yield svg.line(at, self.y.end, at, bottom, class_="grid")
            yield svg.text(at, bottom + 17, f"{value:g}", class_="tick", text_anchor="middle")
        yield svg.text(2, 13, _axis("static pressure", pressure), class_="axis")
        title = _axis("flow", flow)
        yield svg.text(right, self.height - 6, title, class_="axis", text_anchor="end")

    def _flows(self, to_m3_s: float) -> list[float]:
        end = min(to_m3_s, self.x.high)
        return [end * step / _STEPS for step in range(_STEPS + 1)]

    def _line(self, flows: list[float], pressure_pa: Callable[[float], float]) -> list[Point]:
        """A curve as far as it stays inside the frame."""
        points: list[Point] = []
        for flow in flows:
            pressure = pressure_pa(flow)
            points.append((self.x(flow), self.y.clamped(pressure)))
            if pressure > self.y.high:
                break
        return points

    def _system(self) -> Iterator[str]:
        density = self.sizing.density_kg_per_m3
        flows = self._flows(self.x.high)

        def curve(case: Case) -> list[Point]:
            system = self.sizing.plan.rig.system(case)
            return self._line(flows, lambda flow: system.pressure_drop_pa(flow, density))

        top = [self.x.end, self.y.end]
        low, high = curve("low"), curve("high")
        if high[-1][0] < low[-1][0]:  # the steep edge left the frame first: along its upper rim
            high = [*high, (low[-1][0], top[1])]
        yield svg.element("path", d=svg.area(high, low), class_="doubt system")
        yield svg.element("path", d=svg.polyline(curve("best")), class_="line system")

    def _fan(self) -> Iterator[str]:
        sizing, rig = self.sizing, self.sizing.plan.rig
        if sizing.delivered is None:
            return
        density = sizing.density_kg_per_m3
        free_m3_s = rig.curve().free_flow_m3_s

        def curve(speed: float, case: Case) -> list[Point]:
            fan = rig.curve(case)
            flows = self._flows(free_m3_s * speed)
            return [
                (self.x(flow), self.y.clamped(fan.pressure_pa(flow, speed, density)))
                for flow in flows
            ]

        weakest, strongest = curve(1.0, "low"), curve(1.0, "high")
        if weakest != strongest:
            yield svg.element("path", d=svg.area(strongest, weakest), class_="doubt fan")
        for row in drawn_speeds(sizing):
            is_full = row.point.speed >= 1.0
            css = "line fan" if is_full else "line fan slow"
            yield svg.element("path", d=svg.polyline(curve(row.point.speed, "best")), class_=css)

    def _points(self) -> Iterator[str]:
        bottom = self.y(0.0)
        last_x = -math.inf
        for row in reversed(drawn_speeds(self.sizing)):
            point = row.point
            x, y = self.x(point.flow_m3_s), self.y.clamped(point.pressure_pa)
            low, high = self.x(row.flow_m3_s.low), self.x.clamped(row.flow_m3_s.high)
            if high - low > 1.0:
                yield svg.line(low, y, high, y, class_="whisker")
                for end in (low, high):
                    yield svg.line(end, y - 4, end, y + 4, class_="whisker")
            yield svg.element("circle", cx=x, cy=y, r=4.5, class_="point")
            if abs(last_x - x) < 30.0:
                continue
            below = min(y + 19, bottom - 5)
            yield svg.text(x + 8, below, display.speed(point.speed), class_="name fan")
            last_x = x

    def _need(self) -> Iterator[str]:
        span = self.sizing.required_m3_s
        top, bottom = self.y.end, self.y(0.0)
        if not math.isfinite(span.best):
            return
        if span.best > self.x.high:
            text = f"needs {show.computed_flow(span.best, self.units)} →"
            yield svg.text(self.x.end - 4, top + 14, text, class_="name need", text_anchor="end")
            return
        low, high = self.x(span.low), self.x.clamped(span.high)
        if high > low:
            yield svg.rect(low, top, high - low, bottom - top, class_="doubt need")
        x = self.x(span.best)
        yield svg.line(x, top, x, bottom, class_="line need")
        is_late = x > (self.x.start + self.x.end) / 2
        yield svg.text(
            x - 6 if is_late else x + 6,
            top + 14,
            f"needs {show.computed_flow(span.best, self.units)}",
            class_="name need",
            text_anchor="end" if is_late else "start",
        )


def _extent(sizing: Sizing) -> tuple[float, float]:
    """The greatest flow [m³/s] and pressure [Pa] of the chart."""
    required, rig = sizing.required_m3_s.best, sizing.plan.rig
    density = sizing.density_kg_per_m3
    if sizing.delivered is None:
        flow = 1.5 * required
        return flow, 1.15 * rig.system().pressure_drop_pa(flow, density)
    fan = rig.curve("high")
    flow = 1.06 * fan.free_flow_m3_s
    if math.isfinite(required) and required < _FARTHEST_NEED * flow:
        flow = max(flow, 1.15 * required)
    return flow, 1.06 * fan.pressure_pa(0.0, 1.0, density)


def _axis(what: str, unit: AxisUnit) -> str:
    return f"{what} [{unit.name}]"


def caption(sizing: Sizing, units: Units) -> str:
    """What the chart shows, in a sentence or two."""
    text = (
        "The system curve is the static pressure that a flow takes through the run; shades are "
        "ranges."
    )
    flow = sizing.delivered_m3_s
    if flow is None:
        return f"{text} A fan's curve has to pass above the need."
    delivered = show.with_range(flow, lambda q: show.computed_flow(q, units))
    if len(drawn_speeds(sizing)) == 1:
        return f"{text} Fan and system meet at the operating point, {delivered}."
    return (
        f"{text} Fan and system meet at the operating points, one for each speed: at full speed "
        f"{delivered}. By the fan laws a speed is a share of full turns."
    )
