"""Draws architecture.svg, the packages of DEVELOPERS.md and what each imports, from the sources.

    python .pictures/make-architecture.py

A box is a package (and two modules that are as much as one); single files that many use are left
out, and an import through one of them counts as one of what it imports. An arrow points from what
imports to what is imported, always downwards; one that follows from two others is not drawn. Dashed
are imports made inside a function only, when a command needs them.
"""

from __future__ import annotations

import ast
import sys
from collections import defaultdict
from collections.abc import Iterator
from html import escape
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURE = ROOT / ".pictures" / "architecture.svg"
TOPS = ("controller", "simulators")
MODULES_AS_PACKAGES = ("controller.timetable", "controller.plants")
WIDTH, ROW, BOX_HEIGHT, MARGIN, GAP = 1000, 74, 34, 16, 14
FILLS = {"controller": "#e6f0e4", "simulators": "#e5ebf5"}
STROKES = {"controller": "#4b7a44", "simulators": "#4a66a0"}

Graph = dict[str, set[str]]


def part(module: str) -> str:
    """The package or top-level file that a module belongs to: "controller.review"."""
    return ".".join(module.split(".")[:2])


def imports(tree: ast.Module) -> Iterator[tuple[str, bool]]:
    """Modules imported, and whether only inside a function; those for types only are left out."""

    def walk(node: ast.AST, inside: bool) -> Iterator[tuple[str, bool]]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
                continue
            if isinstance(child, ast.Import):
                yield from ((alias.name, inside) for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                yield from ((f"{child.module}.{alias.name}", inside) for alias in child.names)
            yield from walk(child, inside or isinstance(child, ast.FunctionDef))

    return walk(tree, False)


def read_imports() -> tuple[Graph, Graph]:
    """What each part imports when it is imported, and what in functions only."""
    at_once: Graph = defaultdict(set)
    later: Graph = defaultdict(set)
    for path in sorted(path for top in TOPS for path in (ROOT / top).rglob("*.py")):
        me = part(".".join(path.relative_to(ROOT).with_suffix("").parts))
        for module, inside in imports(ast.parse(path.read_text("utf-8"))):
            other = part(module)
            exists = (ROOT / other.replace(".", "/")).exists() or (
                ROOT / (other.replace(".", "/") + ".py")
            ).exists()
            if module.startswith(TOPS) and other != me and exists and other not in TOPS:
                (later if inside else at_once)[me].add(other)
    return at_once, later


def is_drawn(name: str) -> bool:
    """Whether a part is a box of its own."""
    return name in MODULES_AS_PACKAGES or (ROOT / name.replace(".", "/")).is_dir()


def reached(graph: Graph, start: str) -> set[str]:
    """All that a part imports, also by way of others."""
    found: set[str] = set()
    ahead = [start]
    while ahead:
        for other in graph.get(ahead.pop(), ()):
            if other not in found:
                found.add(other)
                ahead.append(other)
    return found


def of_boxes(graph: Graph) -> Graph:
    """The same between boxes only: an import through a file left out is one of what it imports."""

    def boxes(name: str, seen: frozenset[str]) -> set[str]:
        result: set[str] = set()
        for other in graph.get(name, set()) - seen:
            result |= {other} if is_drawn(other) else boxes(other, seen | {other})
        return result

    names = {*graph, *(other for others in graph.values() for other in others)}
    return {name: boxes(name, frozenset({name})) - {name} for name in names if is_drawn(name)}


def needed(graph: Graph) -> Graph:
    """Without the arrows that follow from others."""
    return {
        name: {
            other
            for other in others
            if not any(other in reached(graph, via) for via in others - {other})
        }
        for name, others in graph.items()
    }


def layers(graph: Graph) -> list[list[str]]:
    """From what imports nothing upwards; each box above all that it imports."""
    depth: dict[str, int] = {}

    def measure(name: str) -> int:
        if name not in depth:
            depth[name] = 1 + max((measure(other) for other in graph[name]), default=-1)
        return depth[name]

    rows: list[list[str]] = [[] for _ in range(1 + max(measure(name) for name in sorted(graph)))]
    for name in sorted(graph):
        rows[depth[name]].append(name)
    return rows


def places(rows: list[list[str]], graph: Graph) -> dict[str, tuple[float, float, float]]:
    """Of each box its middle, top and width; each row in the order of what it imports."""
    at: dict[str, tuple[float, float, float]] = {}
    for depth, row in enumerate(rows):
        middles = {
            name: sum(at[other][0] for other in graph[name]) / len(graph[name])
            if graph[name]
            else WIDTH / 2
            for name in row
        }
        row.sort(key=lambda name: (name.startswith("simulators"), middles[name], name))
        widths = [8.0 * len(name.partition(".")[2]) + 26.0 for name in row]
        space = (WIDTH - sum(widths)) / (len(row) + 1)
        x, top = space, MARGIN + ROW * (len(rows) - 1 - depth)
        for name, width in zip(row, widths, strict=True):
            at[name] = (x + width / 2, top, width)
            x += width + space
    return at


def draw() -> str:
    """The whole picture."""
    at_once, later = read_imports()
    # A function may import from above (the log words its events so): that is no layer.
    both = {name: set(others) for name, others in at_once.items()}
    for name in sorted(later):
        for other in sorted(later[name]):
            if name not in reached(both, other):
                both.setdefault(name, set()).add(other)
    graph = {name: others - {name} for name, others in of_boxes(both).items()}
    at_import = of_boxes(at_once)
    arrows = needed(graph)
    rows = layers(graph)
    at = places(rows, arrows)
    height = 2 * MARGIN + ROW * (len(rows) - 1) + BOX_HEIGHT
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height + 30}" '
        'font-family="sans-serif" font-size="14">',
        "<title>Packages of lungwort and what each imports</title>",
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="8" refY="4" markerWidth="7" '
        'markerHeight="7" orient="auto"><path d="M0 0 8 4 0 8z" fill="#777"/></marker></defs>',
        f'<rect width="{WIDTH}" height="{height + 30}" fill="#fff"/>',
    ]
    for name in sorted(arrows):
        for other in sorted(arrows[name]):
            (x1, y1, _), (x2, y2, _) = at[name], at[other]
            dash = "" if other in at_import.get(name, ()) else ' stroke-dasharray="5 4"'
            lines.append(
                f'<path d="M{x1:.0f} {y1 + BOX_HEIGHT:.0f} C{x1:.0f} {y1 + BOX_HEIGHT + 22:.0f} '
                f'{x2:.0f} {y2 - 26:.0f} {x2:.0f} {y2:.0f}" fill="none" stroke="#888"{dash} '
                'marker-end="url(#tip)"/>'
            )
    for name in sorted(at):
        x, top, width = at[name]
        package, _, short = name.partition(".")
        lines.append(
            f'<rect x="{x - width / 2:.0f}" y="{top:.0f}" width="{width:.0f}" '
            f'height="{BOX_HEIGHT}" rx="4" fill="{FILLS[package]}" stroke="{STROKES[package]}"/>'
            f'<text x="{x:.0f}" y="{top + 22:.0f}" text-anchor="middle">{escape(short)}</text>'
        )
    x = MARGIN
    for package in TOPS:
        lines.append(
            f'<rect x="{x}" y="{height + 4}" width="14" height="14" fill="{FILLS[package]}" '
            f'stroke="{STROKES[package]}"/><text x="{x + 20}" y="{height + 16}">{package}</text>'
        )
        x += 120
    lines.append(
        f'<text x="{x}" y="{height + 16}" fill="#444">an arrow: imports; dashed: inside a '
        "function only</text>"
    )
    return "\n".join([*lines, "</svg>"]) + "\n"


if __name__ == "__main__":
    PICTURE.write_text(draw(), "utf-8")
    sys.stdout.write(f"{PICTURE}\n")
