"""Just enough SVG: elements as text, numbers short, text escaped, scales with round ticks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

Point = tuple[float, float]


def num(value: float) -> str:
    """A coordinate to a tenth, without trailing zeros."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def element(name: str, content: str | None = None, /, **attributes: object) -> str:
    """An element; `class_` and other names with underscores become theirs with dashes."""
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        shown = num(value) if isinstance(value, float) else str(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{escape(shown)}"')
    opening = " ".join(parts)
    return f"<{opening}/>" if content is None else f"<{opening}>{content}</{name}>"


def text(x: float, y: float, content: str, **attributes: object) -> str:
    """A line of text, escaped."""
    return element("text", escape(content), x=float(x), y=float(y), **attributes)


def line(x1: float, y1: float, x2: float, y2: float, **attributes: object) -> str:
    """A straight line."""
    return element("line", x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2), **attributes)


def rect(x: float, y: float, width: float, height: float, **attributes: object) -> str:
    """A rectangle."""
    return element(
        "rect", x=float(x), y=float(y), width=float(width), height=float(height), **attributes
    )


def polyline(points: Sequence[Point]) -> str:
    """Path data of an open line; steps that would not be seen are left out."""
    parts: list[str] = []
    last: Point | None = None
    for index, (x, y) in enumerate(points):
        point = (round(x, 1), round(y, 1))
        if last is not None and point == last and index < len(points) - 1:
            continue
        parts.append(f"{'M' if last is None else 'L'}{num(point[0])} {num(point[1])}")
        last = point
    return "".join(parts)


def area(upper: Sequence[Point], lower: Sequence[Point]) -> str:
    """Path data of the area between two lines."""
    if not upper or not lower:
        return ""
    back = polyline(list(reversed(lower)))
    return f"{polyline(upper)}L{back[1:]}Z"


@dataclass(frozen=True, slots=True)
class Scale:
    """Values to coordinates, straight."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """The coordinate of a value."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def clamped(self, value: float) -> float:
        """The coordinate of a value, held inside the scale's ends."""
        return self(min(self.high, max(self.low, value)))


def round_ticks(low: float, high: float, about: int) -> list[float]:
    """Round values between two limits, about so many."""
    step = nice_step((high - low) / max(1, about))
    first = math.ceil(low / step - 1e-9)
    return [round(index * step, 10) for index in range(first, math.floor(high / step + 1e-9) + 1)]


def nice_step(rough: float) -> float:
    """The next larger of 1, 2, 5 times a power of ten."""
    if rough <= 0 or not math.isfinite(rough):
        return 1.0
    power = 10.0 ** math.floor(math.log10(rough))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if rough <= factor * power * (1 + 1e-9):
            return factor * power
    return 10.0 * power


def padded(values: Iterable[float], share: float = 0.06, least: float = 1.0) -> Point:
    """Limits around values with some air."""
    known = list(values)
    low, high = min(known), max(known)
    pad = max(least, share * (high - low))
    return low - pad, high + pad


PATTERNS = {
    # name: (size, marks) drawn in the pattern's own ink over a tint of the same colour
    "schedule": (8, ""),
    "purge": (6, "M0 3H6"),
    "too_hot": (6, "M0 6L6 0M-1 1L1 -1M5 7L7 5"),
    "too_humid": (6, "M3 1.6A1.4 1.4 0 1 1 2.99 1.6Z"),
    "too_stale": (6, "M0 3H2M4 3H6"),
    "too_cold": (6, "M3 0V6"),
    "too_dry": (6, "M0 0L6 6M0 6L6 0"),
    "manual_hold": (8, "M0 0H8V8H0Z"),
    "sensor_failsafe": (8, "M0 4H8M4 0V8"),
    "quiet": (8, "M0 2H8M0 4H8"),
    "other": (8, "M2 2H4V4H2Z"),
}


def pattern_defs(prefix: str, names: Iterable[str]) -> str:
    """Fill patterns, so that nothing is shown by colour alone."""
    patterns = []
    for name in names:
        size, marks = PATTERNS.get(name, PATTERNS["other"])
        body = rect(0, 0, size, size, class_=f"tint f-{name}")
        if marks:
            body += element("path", d=marks, class_=f"marks f-{name}")
        patterns.append(
            element(
                "pattern",
                body,
                id=f"{prefix}-{name}",
                width=size,
                height=size,
                patternUnits="userSpaceOnUse",
            )
        )
    return element("defs", "".join(patterns))
