"""Figure, colours and file of a chart: the only place that touches matplotlib's set-up."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.errors import UserError
from controller.whole_file import whole_file

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Okabe & Ito (2008), Color Universal Design: told apart with any colour vision. Light and
# darkness also differ by marker and hatch, so nothing hangs on colour alone.
LIT = "#D55E00"
DARK = "#0072B2"
LIT_TINT = "#FBE3D3"
DARK_TINT = "#CFE4F2"
STATE = "#000000"
INK = "#222222"
QUIET = "#8A8A8A"
VAPOUR = "#00795C"
PAPER = "#FFFFFF"

SUFFIXES = (".png", ".svg", ".pdf")


def check_file(path: Path) -> None:
    """Refuse a file name that no chart can be written to.

    Raises
    ------
    UserError
        If the suffix is not one of `SUFFIXES`, or the directory is missing.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise UserError(
            f"--plot: {path}: the suffix says what picture to write; "
            f"expected one of {', '.join(SUFFIXES)}",
            status=2,
        )
    if not path.parent.is_dir():
        raise UserError(f"--plot: {path}: there is no directory {path.parent}", status=2)


def new_chart() -> tuple[Figure, Axes]:
    """An empty figure with one pair of axes, without any global state."""
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise UserError(
            "charts need matplotlib, which is not installed: pip install '.[plot]' where "
            "lungwort's source is"
        ) from error
    figure = Figure(figsize=(10.0, 7.0), dpi=150, facecolor=PAPER, layout="constrained")
    return figure, figure.add_subplot()


def save(figure: Figure, path: Path) -> None:
    """Write the figure; a file that stands there is replaced only by a whole new one.

    Raises
    ------
    UserError
        If the file can't be written.
    """
    import matplotlib as mpl

    kind = path.suffix.lower()[1:]
    # Without dates and random ids the same chart is the same file.
    metadata: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(kind, {})
    with (
        whole_file(path, "the chart ") as part,
        part.open("wb") as file,
        mpl.rc_context({"svg.hashsalt": "lungwort", "svg.fonttype": "path"}),
    ):
        figure.savefig(file, format=kind, metadata=metadata)


def label_line(
    axes: Axes, x: list[float], y: list[float], at: int, text: str, colour: str, size: float = 8.0
) -> None:
    """Write `text` on the line through `x`, `y` at its point number `at`, along its slope."""
    import math

    near = min(max(at, 1), len(x) - 2)
    angle = math.degrees(math.atan2(y[near + 1] - y[near - 1], x[near + 1] - x[near - 1]))
    axes.text(
        x[near],
        y[near],
        text,
        rotation=angle,
        rotation_mode="anchor",
        transform_rotates_text=True,
        ha="center",
        va="center",
        fontsize=size,
        color=colour,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
        clip_on=True,
        zorder=3,
    )
