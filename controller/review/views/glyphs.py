"""What a terminal can show: braille and blocks, or plain ASCII."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import NamedTuple, TextIO

_BLOCKS = " ▁▂▃▄▅▆▇█"
_PLAIN_BLOCKS = " .:-=+*#@"
_PLAIN = str.maketrans({
    "°": "", "–": "-", "—": "-", "−": "-", "→": "->", "×": "x", "·": ".", "…": "...", "³": "3",
    "²": "2", "’": "'", "≥": ">=", "│": "|", "─": "-", "┬": "+", "┤": "+", "┼": "+", "└": "+",
    "━": "=", "▔": "=", "█": "#", "░": ".", "Δ": "d", "µ": "u", "₂": "2",
    "\N{NO-BREAK SPACE}": " ",
})  # fmt: skip
# Braille's dots: bit of (column 0-1, row 0-3), Unicode chapter 21.1.
_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))


class Glyphs(NamedTuple):
    """How to draw: with Unicode or not, with bold or not."""

    fancy: bool = True
    bold: bool = False

    @classmethod
    def for_stream(cls, stream: TextIO, *, plain: bool = False) -> Glyphs:
        """What `stream` can show; a Linux console has no braille in its font."""
        terminal = stream.isatty()
        name = os.environ.get("TERM", "")
        if plain or (terminal and name in ("linux", "dumb", "vt100")):
            return cls(False, False)
        try:
            "⠿█°–".encode(stream.encoding or "ascii")
        except (UnicodeEncodeError, LookupError):
            return cls(False, False)
        return cls(True, terminal and "NO_COLOR" not in os.environ)

    def text(self, text: str) -> str:
        """`text` as it can be shown."""
        if self.fancy:
            return text
        return text.translate(_PLAIN).encode("ascii", "replace").decode("ascii")

    def strong(self, text: str) -> str:
        """`text` made to stand out."""
        return f"\x1b[1m{text}\x1b[0m" if self.bold else text

    def bar(self, share: float | None) -> str:
        """One character for a share of 0 to 1; a dot where it is not known."""
        if share is None:
            return "·" if self.fancy else "?"
        blocks = _BLOCKS if self.fancy else _PLAIN_BLOCKS
        index = 0 if share <= 0 else max(1, min(8, round(share * 8)))
        return blocks[index]


class Canvas:
    """A grid of dots that prints as characters: 2 × 4 dots each in braille, 1 × 2 in ASCII.

    Parameters
    ----------
    columns, rows : int
        Its size in characters.
    fancy : bool
        Braille, or else ASCII.
    """

    def __init__(self, columns: int, rows: int, *, fancy: bool = True) -> None:
        self.per_column, self.per_row = (2, 4) if fancy else (1, 2)
        self.columns, self.rows = columns, rows
        self.width, self.height = columns * self.per_column, rows * self.per_row
        self._dots = [[False] * self.width for _ in range(self.height)]
        self._faint = [[False] * self.width for _ in range(self.height)]
        self._fancy = fancy

    def set(self, x: int, y: int, *, faint: bool = False) -> None:
        """Set a dot, counted from the top left; outside the grid does nothing."""
        if 0 <= x < self.width and 0 <= y < self.height:
            (self._faint if faint else self._dots)[y][x] = True

    def lines(self) -> list[str]:
        """The characters, row by row."""
        return [
            "".join(self._cell(column, row) for column in range(self.columns)).rstrip()
            for row in range(self.rows)
        ]

    def _cell(self, column: int, row: int) -> str:
        x, y = column * self.per_column, row * self.per_row
        if self._fancy:
            bits = sum(
                _DOTS[i][j]
                for i in range(2)
                for j in range(4)
                if self._dots[y + j][x + i] or self._faint[y + j][x + i]
            )
            return chr(0x2800 + bits) if bits else " "
        upper, lower = self._dots[y][x], self._dots[y + 1][x]
        if upper or lower:
            return ":" if upper and lower else "'" if upper else "."
        return "-" if self._faint[y][x] or self._faint[y + 1][x] else " "


def spread(values: Sequence[float | None], columns: int) -> list[tuple[float, float] | None]:
    """Values brought to so many columns, each with the lowest and highest that fall into it."""
    extremes: list[tuple[float, float] | None] = []
    for column in range(columns):
        first = column * len(values) // columns
        last = max(first + 1, (column + 1) * len(values) // columns)
        known = [value for value in values[first:last] if value is not None]
        extremes.append((min(known), max(known)) if known else None)
    return extremes
