"""The drawing of a wiring sheet: the 40-pin header and a wire to each part, as SVG.

Drawn for a phone's width, so that its letters are large enough there. Between header and parts
wires that would meet have lanes of their own, and at either end heights of their own, so that no
two lie on top of each other; each end is labelled, so that nothing hangs on colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import NamedTuple

from controller.wiring.header import GROUND, PINS, V3_3, V5, HeaderPin
from controller.wiring.sheet import Part, Sheet, Wire

WIDTH = 380
_PITCH = 26
_TOP = 40
_ODD_X, _EVEN_X = 68, 94
_RADIUS = 10
_LANES_FROM, _LANES_TO = 164, 226
_WIDEST_STEP = 8.0
_CLEAR = 4.0
_BOX_X = 236
# In multiples of half a pitch, but for a quarter of one: so the ends of the wires at the boxes are
# never as high as where one leaves the header.
_LINE = _PITCH
_FIRST_END = 1.25 * _PITCH
_BELOW_ENDS = 0.75 * _PITCH
_GAP = 0.5 * _PITCH
_MOST_LETTERS = 17

_CLASSES = {V3_3: "v3", V5: "v5", GROUND: "gnd"}


class _End(NamedTuple):
    """Where a wire meets its part."""

    wire: Wire
    y: float


class _Box(NamedTuple):
    """A part as a box."""

    part: Part
    top: float
    height: float
    ends: tuple[_End, ...]


def drawing(sheet: Sheet) -> str:
    """The drawing, as one SVG element that scales with the page."""
    boxes = _boxes([part for part in sheet.parts if part.wires])
    below_header = _TOP + len(PINS) / 2 * _PITCH + 6
    bottom = max([below_header, *(box.top + box.height + 6 for box in boxes)])
    body = [
        *_header_block(),
        *_wires(boxes),
        *(_box(box) for box in boxes),
        *_header_pins({wire.pin.number for _, wire in sheet.wires}),
    ]
    label = (
        f"The 40-pin header of the Raspberry Pi and its wires for {sheet.tent}; the table below "
        "says the same."
    )
    return (
        f'<svg class="drawing" viewBox="0 0 {WIDTH} {bottom:g}" role="img" '
        f'aria-label="{escape(label)}">{"".join(body)}</svg>'
    )


def _pin_xy(pin: HeaderPin) -> tuple[float, float]:
    row = (pin.number - 1) // 2
    return (_ODD_X if pin.number % 2 else _EVEN_X), _TOP + (row + 0.5) * _PITCH


def _leaves_at(pin: HeaderPin) -> float:
    """Height at which a wire leaves the header: those of the odd pins go between the rows."""
    _, y = _pin_xy(pin)
    return y + _PITCH / 2 if pin.number % 2 else y


def _boxes(parts: Sequence[Part]) -> list[_Box]:
    """The parts from top to bottom as their wires leave the header."""

    def middle(part: Part) -> float:
        return sum(_leaves_at(wire.pin) for wire in part.wires) / len(part.wires)

    boxes: list[_Box] = []
    top = float(_TOP)
    for part in sorted(parts, key=middle):
        wires = sorted(part.wires, key=lambda wire: _leaves_at(wire.pin))
        ends = tuple(
            _End(wire, top + _FIRST_END + index * _LINE) for index, wire in enumerate(wires)
        )
        height = ends[-1].y + _BELOW_ENDS - top
        boxes.append(_Box(part, top, height, ends))
        top += height + _GAP
    return boxes


def _wires(boxes: Sequence[_Box]) -> Iterator[str]:
    lanes = _lanes([end for box in boxes for end in box.ends])
    step = min(_WIDEST_STEP, (_LANES_TO - _LANES_FROM) / max(1, len(lanes) - 1))
    halo = min(5.0, step + 1.5)
    by_pin: dict[int, list[str]] = {}
    for number, lane in enumerate(lanes):
        for end in lane:
            path = _path(end, _LANES_FROM + number * step)
            by_pin.setdefault(end.wire.pin.number, []).append(path)
    for number, paths in by_pin.items():
        # A wire leaves a gap in those it crosses, but not in those of its own pin.
        css = _CLASSES.get(PINS[number - 1].signal, "sig")
        yield from (f'<path class="halo" stroke-width="{halo:.1f}" d="{path}"/>' for path in paths)
        yield from (f'<path class="wire {css}" d="{path}"/>' for path in paths)


def _path(end: _End, lane_x: float) -> str:
    x, y = _pin_xy(end.wire.pin)
    path = f"M{x:g} {y:g}"
    if end.wire.pin.number % 2:
        path += f"L{x + _PITCH / 2:g} {_leaves_at(end.wire.pin):g}"
    return path + f"H{lane_x:.1f}V{end.y:g}H{_BOX_X:g}"


def _lanes(ends: Sequence[_End]) -> list[list[_End]]:
    """From left to right, so that wires cross little; a lane takes all that don't meet in it."""
    down = [end for end in ends if end.y >= _leaves_at(end.wire.pin)]
    up = [end for end in ends if end.y < _leaves_at(end.wire.pin)]
    down.sort(key=lambda end: -_leaves_at(end.wire.pin))
    up.sort(key=lambda end: _leaves_at(end.wire.pin))
    lanes: list[list[_End]] = []
    for end in [*down, *up]:
        # The last lane in which it meets others must stay left of it.
        free = max((i + 1 for i, lane in enumerate(lanes) if _meets(end, lane)), default=0)
        if free == len(lanes):
            lanes.append([])
        lanes[free].append(end)
    return lanes


def _meets(end: _End, lane: Sequence[_End]) -> bool:
    low, high = sorted((end.y, _leaves_at(end.wire.pin)))
    for other in lane:
        other_low, other_high = sorted((other.y, _leaves_at(other.wire.pin)))
        if low < other_high + _CLEAR and other_low < high + _CLEAR:
            return True
    return False


def _header_block() -> Iterator[str]:
    height = len(PINS) / 2 * _PITCH
    yield f'<text class="head" x="{(_ODD_X + _EVEN_X) / 2}" y="16">Pi, pin 1 on top,</text>'
    yield f'<text class="head" x="{(_ODD_X + _EVEN_X) / 2}" y="31">at its corner</text>'
    yield (
        f'<rect class="header" x="{_ODD_X - 14}" y="{_TOP}" width="{_EVEN_X - _ODD_X + 28}" '
        f'height="{height:g}" rx="5"/>'
    )


def _header_pins(used: set[int]) -> Iterator[str]:
    for pin in PINS:
        x, y = _pin_xy(pin)
        css = _CLASSES.get(pin.signal, "sig") if pin.number in used else "free"
        shape = (
            f'<rect class="pin {css}" x="{x - _RADIUS}" y="{y - _RADIUS:g}" width="{2 * _RADIUS}" '
            f'height="{2 * _RADIUS}"/>'
            if pin.number == 1
            else f'<circle class="pin {css}" cx="{x}" cy="{y:g}" r="{_RADIUS}"/>'
        )
        yield f'{shape}<text class="number {css}" x="{x}" y="{y + 4:g}">{pin.number}</text>'
        if pin.number in used:
            odd = pin.number % 2 == 1
            at = _ODD_X - 18 if odd else _EVEN_X + 18
            side = "before" if odd else "after"
            yield f'<text class="label {side}" x="{at}" y="{y + 4:g}">{pin.signal}</text>'


def _box(box: _Box) -> str:
    name = box.part.name
    shown = name if len(name) <= _MOST_LETTERS else f"{name[: _MOST_LETTERS - 1]}…"
    lines = [
        f'<rect class="box" x="{_BOX_X}" y="{box.top:g}" width="{WIDTH - _BOX_X - 2}" '
        f'height="{box.height:g}" rx="5"/>',
        f'<text class="name" x="{_BOX_X + 12}" y="{box.top + 17:g}">{escape(shown)}</text>',
    ]
    for end in box.ends:
        css = _CLASSES.get(end.wire.pin.signal, "sig")
        lines.append(
            f'<circle class="pin {css}" cx="{_BOX_X}" cy="{end.y:g}" r="4"/>'
            f'<text class="end" x="{_BOX_X + 12}" y="{end.y + 4:g}">{escape(end.wire.short)}'
            f' <tspan class="from">pin {end.wire.pin.number}</tspan></text>'
        )
    return "".join(lines)
