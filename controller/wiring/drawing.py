"""The drawing of a wiring sheet: the 40-pin header and a wire to each part, as SVG.

Drawn for a phone's width, so that its letters are large enough there. Every wire has a lane of its
own between header and parts, and a height of its own at either end, so that no two lie on top of
each other; each end is labelled, so that nothing hangs on colour.
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
_LANES_FROM, _LANES_TO = 156, 208
_BOX_X = 216
_LINE = 22
_BOX_HEAD = 24
_GAP = 14
_MOST_LETTERS = 25

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
        height = _BOX_HEAD + len(part.wires) * _LINE + 4
        wires = sorted(part.wires, key=lambda wire: _leaves_at(wire.pin))
        # A quarter of a pitch off the header's heights, so that no two wires ever share one.
        first = _off_grid(top + _BOX_HEAD + _LINE / 2)
        ends = tuple(_End(wire, _off_grid(first + i * _LINE)) for i, wire in enumerate(wires))
        boxes.append(_Box(part, top, height, ends))
        top += height + _GAP
    return boxes


def _off_grid(y: float) -> float:
    half = _PITCH / 2
    return _TOP + (round((y - _TOP) / half - 0.5) + 0.5) * half


def _wires(boxes: Sequence[_Box]) -> Iterator[str]:
    ends = [end for box in boxes for end in box.ends]
    lanes = _lanes(ends)
    step = (_LANES_TO - _LANES_FROM) / max(1, len(ends) - 1)
    for lane, end in enumerate(lanes):
        x, y = _pin_xy(end.wire.pin)
        out = _leaves_at(end.wire.pin)
        lane_x = _LANES_FROM + lane * step
        start = f"M{x:g} {y:g}"
        if end.wire.pin.number % 2:
            start += f"L{x + _PITCH / 2:g} {out:g}"
        path = f"{start}H{lane_x:.1f}V{end.y:g}H{_BOX_X:g}"
        css = _CLASSES.get(end.wire.pin.signal, "sig")
        yield f'<path class="halo" d="{path}"/><path class="wire {css}" d="{path}"/>'


def _lanes(ends: Sequence[_End]) -> list[_End]:
    """From left to right, so that wires cross as little as their ends allow."""
    down = [end for end in ends if end.y >= _leaves_at(end.wire.pin)]
    up = [end for end in ends if end.y < _leaves_at(end.wire.pin)]
    down.sort(key=lambda end: -_leaves_at(end.wire.pin))
    up.sort(key=lambda end: _leaves_at(end.wire.pin))
    return [*down, *up]


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
