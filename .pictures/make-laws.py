"""Draws laws.svg of the README: energy against harm, whatever runs the fan, and the bound.

    python tests/benches/bound.py && python .pictures/make-laws.py

Everything in it is out of tests/benches/results/bound.json. It has a light and a dark form, by the
reader's own preference, and letters that can still be read when it is as narrow as a phone.
"""

from __future__ import annotations

import json
from html import escape
from itertools import pairwise
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
RESULTS = ROOT / "tests" / "benches" / "results" / "bound.json"
PICTURE = ROOT / ".pictures" / "laws.svg"

WIDTH, PLOT_HEIGHT = 640, 300
LEFT, RIGHT, TOP, BOTTOM = 76, 24, 58, 62
PANEL = TOP + PLOT_HEIGHT + BOTTOM
STYLE = """
text { font: 19px system-ui, "DejaVu Sans", sans-serif; fill: #222; }
.title { font-size: 21px; font-weight: 600; }
.faint { fill: #555; font-size: 17px; }
.back { fill: #fff; } .grid { stroke: #ddd; } .axis { stroke: #666; }
.bound { stroke: #555; fill: none; stroke-width: 3; }
.cannot { fill: #eceeec; }
.new { fill: #1b7f4a; } .old { fill: #b4541a; } .plain { fill: #3a63a8; }
text.new, text.old, text.plain { font-weight: 600; }
@media (prefers-color-scheme: dark) {
  text { fill: #e6e6e6; } .faint { fill: #b5b5b5; } .back { fill: #16191c; }
  .grid { stroke: #33383d; } .axis { stroke: #999; } .bound { stroke: #bbb; }
  .cannot { fill: #23282c; }
  .new { fill: #55c98b; } .old { fill: #f0955b; } .plain { fill: #8ab0f0; }
}
"""
# How each is drawn, what it is called, and where beside its points that stands.
LOOKS = {
    "modulating": ("new", "modulated", "far below"),
    "fixed speeds": ("old", "fixed speeds", "beyond"),
    "schedule alone": ("plain", "schedule alone", "right"),
    "plug timer": ("plain", "plug timer", "above"),
    "always on": ("plain", "always on", "below"),
}


def hull(runs: list[dict[str, Any]]) -> list[tuple[float, float]]:
    """The lower convex hull of the bound's runs, energy rising."""
    points: list[tuple[float, float]] = []
    for point in sorted((run["energy_kwh"], run["harm"]) for run in runs):
        if points and point[1] >= points[-1][1]:
            continue
        while len(points) > 1:
            (x0, y0), (x1, y1) = points[-2:]
            if (y1 - y0) * (point[0] - x0) < (point[1] - y0) * (x1 - x0):
                break
            points.pop()
        points.append(point)
    return points


def panel(row: dict[str, Any], top: int) -> str:
    """One tent's energy against harm."""
    days = row["days"]
    points = {
        name: [(draw["energy_kwh"], draw["harm"] / days) for draw in law["draws"]]
        for name, law in row["laws"].items()
    }
    bound = [(x, y / days) for x, y in hull(row["bound"])]
    every = [point for draws in points.values() for point in draws]
    x_most = 1.08 * max(x for x, _ in every)
    y_low, y_high = bound[-1][1], max(y for _, y in every)
    room = y_high - y_low
    y_low, y_high = y_low - 0.12 * room, y_high + 0.3 * room
    base = top + TOP + PLOT_HEIGHT

    def at(point: tuple[float, float]) -> tuple[float, float]:
        x, y = point
        return (
            LEFT + (WIDTH - LEFT - RIGHT) * x / x_most,
            base - PLOT_HEIGHT * (y - y_low) / (y_high - y_low),
        )

    parts = [f'<text class="title" x="{LEFT}" y="{top + 26}">{escape(title(row))}</text>']
    parts.append(f'<text class="faint" x="{LEFT}" y="{top + 48}">harm a day</text>')
    for y in ticks(y_low, y_high):
        _, at_y = at((0.0, y))
        parts.append(
            f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{at_y:.1f}" y2="{at_y:.1f}"/>'
            f'<text class="faint" x="{LEFT - 8}" y="{at_y + 6:.1f}" text-anchor="end">{y:g}</text>'
        )
    for x in ticks(0.0, x_most):
        at_x, _ = at((x, 0.0))
        parts.append(
            f'<text class="faint" x="{at_x:.1f}" y="{base + 24}" text-anchor="middle">{x:g}</text>'
        )
    parts.append(f'<line class="axis" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{base}" y2="{base}"/>')
    parts.append(
        f'<text class="faint" x="{WIDTH - RIGHT}" y="{base + 46}" text-anchor="end">'
        f"energy of the fan in {days} days, kWh</text>"
    )
    shown = [*bound, (x_most, bound[-1][1])]
    while len(shown) > 1 and shown[1][1] > y_high:
        shown.pop(0)
    (x0, y0), (x1, y1) = shown[:2]
    if y0 > y_high:
        shown[0] = (x0 + (x1 - x0) * (y_high - y0) / (y1 - y0), y_high)
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(at, shown))
    parts.append(
        f'<polygon class="cannot" points="{LEFT},{top + TOP} {line} {WIDTH - RIGHT},{base} '
        f'{LEFT},{base}"/><polyline class="bound" points="{line}"/>'
    )
    at_x, at_y = at((0.55 * x_most, bound[-1][1]))
    parts.append(
        f'<text class="faint" x="{at_x:.1f}" y="{at_y + 24:.1f}">bound: no fan does better</text>'
    )
    for name, (css, words, side) in LOOKS.items():
        parts.append(marks(css, words, side, [at(point) for point in points[name]]))
    return "".join(parts)


def marks(css: str, words: str, side: str, places: list[tuple[float, float]]) -> str:
    """A point a draw, and what it is called beside, above or below them."""
    size = 7 if len(places) == 1 else 5
    dots = "".join(
        f'<circle class="{css}" cx="{x:.1f}" cy="{y:.1f}" r="{size}"/>' for x, y in places
    )
    x = sum(x for x, _ in places) / len(places)
    highest, lowest = min(y for _, y in places), max(y for _, y in places)
    anchor, y = "middle", highest - 14
    if side == "right":
        anchor, x, y = "start", x + 12, highest + 6
    elif side == "beyond":
        anchor, x = "start", min(x for x, _ in places) - 6
    elif side == "below":
        y = lowest + 28
    elif side == "far below":
        # On the other side of the bound, where there is room.
        anchor, x, y = "end", max(x for x, _ in places), lowest + 58
    half = 5.5 * len(words)
    if anchor == "middle" and x + half > WIDTH - RIGHT:
        anchor, x = "end", WIDTH - RIGHT
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'{dots}<text class="{css}" {place}>{escape(words)}</text>'


def ticks(low: float, high: float) -> list[float]:
    """Round values between two, some four of them."""
    steps = (0.5, 1, 2, 5, 10, 20, 50)
    step = next((step for step in steps if (high - low) / step <= 5), steps[-1])
    first = -(-low // step) * step
    values = [first + step * number for number in range(10)]
    return [value for value in values if low <= value <= high]


def title(row: dict[str, Any]) -> str:
    """What the panel is of."""
    return {"chillies": "config/chillies.yaml", "basil, by PWM": "config/basil.yaml, with PWM"}[
        row["tent"]
    ]


def picture(rows: list[dict[str, Any]]) -> str:
    """The whole picture."""
    panels = "".join(panel(row, PANEL * number) for number, row in enumerate(rows))
    height = PANEL * len(rows) + 6
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'aria-label="Energy of the fan against harm, for two tents in a July with a heat wave">'
        f"<style>{STYLE}</style>"
        f'<rect class="back" width="{WIDTH}" height="{height}"/>{panels}</svg>\n'
    )


def main() -> None:
    """Draw it."""
    rows = json.loads(RESULTS.read_text(encoding="utf-8"))
    assert all(a["days"] == b["days"] for a, b in pairwise(rows))
    PICTURE.write_text(picture(rows), encoding="utf-8")
    print(PICTURE)


if __name__ == "__main__":
    main()
