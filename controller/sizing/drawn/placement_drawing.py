"""One way to place fan and filter, drawn to scale from the front: tent, fan, filter, duct, lamp.

The run of duct to where the air goes is cut short; everything else is as large as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from controller import display
from controller.display import Units
from controller.pages import svg
from controller.sizing.arrangements import STRAP_M, Hardware, Placement
from controller.sizing.placing import length_text
from controller.sizing.plan import Plan

POT_M = 0.25
"""Height of the pots that the lamp is lowered to [m] (common practice, no source)."""

LAMP_OVER_SEEDLINGS_M = 0.30
"""Gap between a lamp and the seedlings below it [m] (common practice, no source)."""

WIDTH = 240.0
_LABEL_LINE = 16.0
_LABELS_APART = 36.0
_BOTTOM = 22.0
_OUTSIDE_SHARE = 0.8
_LAMP_M = 0.05
_SHELF_FROM_PORT_M = 0.5
_GAP_M = 0.08
_ARROW_M = 0.2


def lowest_lamp_m() -> float:
    """Lowest height of the lamp over the floor [m]: over seedlings in pots."""
    return POT_M + LAMP_OVER_SEEDLINGS_M


@dataclass(frozen=True)
class PlacementDrawing:
    """One drawing and its scale.

    Attributes
    ----------
    plan : Plan
        The tent.
    placement : Placement
        What hangs where.
    hardware : Hardware
        Size of fan and filter.
    units : str
        "si" or "us".
    """

    plan: Plan
    placement: Placement
    hardware: Hardware
    units: Units

    @property
    def side_m(self) -> float:
        """The longer side of the tent, which the drawing looks at [m]."""
        return max(self.plan.width_m, self.plan.depth_m)

    @property
    def _scale(self) -> float:
        """Pixels a metre."""
        row_m = self.hardware.fan_length_m + self.hardware.filter_length_m + 2.0 * _GAP_M
        outside_m = max(_SHELF_FROM_PORT_M + row_m + _ARROW_M, _OUTSIDE_SHARE * self.side_m)
        return (WIDTH - 4.0) / (self.side_m + outside_m)

    def _px(self, length_m: float) -> float:
        return length_m * self._scale

    @property
    def _left(self) -> float:
        return 2.0

    @property
    def _wall(self) -> float:
        """The right wall, through which the duct goes."""
        return self._left + self._px(self.side_m)

    @property
    def _labels_are_staggered(self) -> bool:
        """Whether "filter" and "fan" would lie on each other on one line."""
        apart_m = (self.hardware.fan_length_m + self.hardware.filter_length_m) / 2 + _GAP_M
        return self.hardware.filter_length_m > 0.0 and self._px(apart_m) < _LABELS_APART

    @property
    def _top(self) -> float:
        """The roof poles, under the names of what hangs there."""
        return (2.0 if self._labels_are_staggered else 1.0) * _LABEL_LINE + 6.0

    @property
    def _axis(self) -> float:
        """Height of the duct's axis."""
        return self._top + self._px(STRAP_M + self._thickest_m / 2)

    @property
    def _thickest_m(self) -> float:
        return max(self.hardware.fan_diameter_m, self.hardware.filter_diameter_m)

    @property
    def _floor(self) -> float:
        return self._top + self._px(self.plan.height_m)

    def _height(self, over_floor_m: float) -> float:
        return self._floor - self._px(over_floor_m)

    def drawn(self, label: str) -> str:
        """The drawing as SVG; `label` is read out instead of it."""
        return svg.element(
            "svg",
            "".join([*self._tent(), *self._lamp(), *self._air_path()]),
            class_="placement",
            viewBox=f"0 0 {svg.num(WIDTH)} {svg.num(self._floor + _BOTTOM)}",
            role="img",
            aria_label=label,
        )

    def _tent(self) -> Iterator[str]:
        wide, high = self._px(self.side_m), self._px(self.plan.height_m)
        yield svg.rect(self._left, self._top, wide, high, class_="tent")
        yield svg.line(0.0, self._floor, WIDTH, self._floor, class_="floor")
        # The intake opening, low in the wall opposite the duct.
        yield svg.line(
            self._left, self._height(0.30), self._left, self._height(0.12), class_="intake"
        )
        at = self._height(0.21)
        yield _arrow(self._left + 4.0, at, 16.0)
        size = display.length(self.side_m, self.units)
        middle = self._left + wide / 2
        yield svg.text(middle, self._floor + 16, size, text_anchor="middle", class_="size")

    def _lamp(self) -> Iterator[str]:
        if self.plan.lamp_power_w <= 0.0:
            return
        wide = self._px(0.6 * self.side_m)
        x = self._left + (self._px(self.side_m) - wide) / 2
        highest_m = self.placement.lamp_at_most_m
        top = self._height(highest_m)
        for hanger in (x + 0.15 * wide, x + 0.85 * wide):
            yield svg.line(hanger, self._top, hanger, top, class_="hanger")
        yield svg.rect(x, top, wide, max(3.0, self._px(_LAMP_M)), class_="lamp")
        yield from self._height_label(highest_m, x + wide, "lamp at most")
        lowest_m = lowest_lamp_m()
        if lowest_m < highest_m - 2.0 * _LAMP_M:
            low = self._height(lowest_m)
            yield svg.rect(x, low, wide, max(3.0, self._px(_LAMP_M)), class_="lamp lowest")
            yield from self._height_label(lowest_m, x + wide, "at the lowest")

    def _height_label(self, over_floor_m: float, from_x: float, what: str) -> Iterator[str]:
        """A leader from the lamp to its height, written outside the tent."""
        y, at = self._height(over_floor_m), self._wall + 8.0
        under_the_duct = self._axis + self._px(self._thickest_m / 2) + 17.0
        text_y = max(y + 5.0, under_the_duct)
        leader = f"M{svg.num(from_x)} {svg.num(y + 1.5)}H{svg.num(self._wall)}"
        yield svg.element(
            "path", d=f"{leader}L{svg.num(at - 2.0)} {svg.num(text_y - 4.0)}", class_="leader"
        )
        yield svg.text(at, text_y, what)
        yield svg.text(at, text_y + 15.0, length_text(over_floor_m, self.units), class_="figure")

    def _air_path(self) -> Iterator[str]:
        """Filter, fan and duct, from the air in the tent to where it leaves."""
        has_filter = self.hardware.filter_length_m > 0.0
        axis = self._axis
        inside = ["filter"] * (self.placement.filter_inside and has_filter)
        inside += ["fan"] * self.placement.fan_inside
        outside = ["fan"] * (not self.placement.fan_inside)
        outside += ["filter"] * (not self.placement.filter_inside and has_filter)
        first = self._wall - self._long(inside)
        yield from self._row(inside, first, axis, is_hung=True)
        start = self._wall + self._px(_SHELF_FROM_PORT_M if outside else 0.25)
        yield from self._duct(self._wall - (self._px(_GAP_M) if inside else 6.0), start, axis)
        yield from self._row(outside, start, axis, is_hung=False)
        end = start + self._long(outside)
        yield _arrow(end + 2.0, axis, max(8.0, min(22.0, WIDTH - end - 4.0)))

    def _long(self, names: list[str]) -> float:
        """Length of fan and filter in a row, with the gap behind each [px]."""
        return self._px(sum(self._size(name)[0] + _GAP_M for name in names))

    def _row(self, names: list[str], left: float, axis: float, *, is_hung: bool) -> Iterator[str]:
        """Fan and filter in a row along the duct's axis, hung by straps or on a shelf."""
        for number, name in enumerate(names):
            long_m, thick_m = self._size(name)
            wide, high = self._px(long_m), self._px(thick_m)
            top, bottom = axis - high / 2, axis + high / 2
            if number < len(names) - 1:
                yield from self._duct(left + wide, left + wide + self._px(_GAP_M), axis)
            if is_hung:
                for strap in (left + 0.2 * wide, left + 0.8 * wide):
                    yield svg.line(strap, self._top, strap, top, class_="strap")
            else:
                yield svg.line(left - 3.0, bottom, left + wide + 3.0, bottom, class_="shelf")
            yield svg.rect(left, top, wide, high, rx=3, class_=name)
            line = 1.0 if name == "fan" and self._labels_are_staggered else 0.0
            label_y = self._top - 6.0 - line * _LABEL_LINE
            yield svg.text(left + wide / 2, label_y, name, text_anchor="middle")
            left += wide + self._px(_GAP_M)

    def _size(self, name: str) -> tuple[float, float]:
        things = self.hardware
        if name == "fan":
            return things.fan_length_m, things.fan_diameter_m
        return things.filter_length_m, things.filter_diameter_m

    def _duct(self, start: float, end: float, axis: float) -> Iterator[str]:
        high = max(3.0, self._px(self.plan.rig.inside_diameter_m))
        if end > start:
            yield svg.rect(start, axis - high / 2, end - start, high, class_="duct")


def _arrow(x: float, y: float, length: float) -> str:
    d = f"M{svg.num(x)} {svg.num(y)}h{svg.num(length)}m-5 -4l5 4l-5 4"
    return svg.element("path", d=d, class_="air")
