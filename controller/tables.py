"""Tables, facts and sentences in lines that fit a terminal; pure but for asking its width.

A table that does not fit becomes a list: a block a row, one fact a line.
"""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Sequence

from controller.display import unbroken

# Lines of prose longer than this are hard to read (common practice, no source).
_WIDEST = 100
_NARROWEST = 20
# Between columns; the narrower one where only that fits.
_GAPS = ("  ", " ")
# A cell with nothing to tell, which a list leaves out.
_NOTHING = "–"
# Below so many columns a label leaves too little room beside it.
_NARROW = 60
# A last column of text is wrapped where at least so much is left for it.
_LEAST_TEXT = 28


def terminal_width() -> int:
    """Columns to fill: COLUMNS or the terminal's, from 20 to 100; 80 where there is no terminal."""
    return max(_NARROWEST, min(_WIDEST, shutil.get_terminal_size().columns))


def wrapped(text: str, width: int, *, first: str = "", rest: str | None = None) -> list[str]:
    """Break a sentence into lines of at most `width` columns; words, paths too, stay whole.

    Parameters
    ----------
    text : str
        The sentence.
    width : int
        Columns.
    first, rest : str
        What the first line and the others begin with; `rest` is as wide as `first` by default.
    """
    lines = textwrap.wrap(
        unbroken(text),
        width,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines] or [first.rstrip()]


def fact_lines(facts: Iterable[tuple[str, str]], width: int, *, label_width: int = 11) -> list[str]:
    """Give facts with their labels at the left; an empty label goes on with the one before.

    Parameters
    ----------
    facts : iterable of (str, str)
        Label and text.
    width : int
        Columns; below 60 the text goes on below its label.
    label_width : int
        Columns for the labels.
    """
    lines: list[str] = []
    for label, text in facts:
        if width >= _NARROW:
            lines += wrapped(text, width, first=f"{label:<{label_width - 1}} ")
        elif label:
            lines += wrapped(f"{label}: {text}", width, rest="  ")
        else:
            lines += wrapped(text, width, first="  ")
    return lines


def table_lines(
    headings: Sequence[str],
    rows: Sequence[Sequence[str]],
    width: int,
    *,
    align: str = "",
    keys: int = 1,
) -> list[str]:
    """Draw a table, or a list where the table is wider than `width`.

    Parameters
    ----------
    headings : sequence of str
        Shape (n,); all empty: no line of headings.
    rows : sequence of sequence of str
        Shape (m, n).
    width : int
        Columns to fit into.
    align : str
        A character a column: `<` to the left, `>` to the right; by default the first to the left
        and the others to the right. A last column to the left is wrapped within the table.
    keys : int
        How many of the first columns name the row; in a list they stand above its facts.

    Returns
    -------
    list of str
        Lines; wider than `width` only where a single word of a cell is.
    """
    align = align or "<" + ">" * (len(headings) - 1)
    flat = [list(headings)] if any(headings) else []
    for head, gap in ((flat, _GAPS[0]), (flat, _GAPS[1]), (_stacked(headings), _GAPS[1])):
        shown = [*head, *map(list, rows)]
        if not shown:
            return []
        widths = [max(len(row[i]) for row in shown) for i in range(len(headings))]
        before = sum(widths[:-1]) + len(gap) * (len(widths) - 1)
        if before + widths[-1] <= width:
            break
        if len(widths) > 1 and align[-1] == "<" and width - before >= _LEAST_TEXT:
            widths[-1] = width - before
            break
    else:
        return _list_lines(headings, rows, width, keys)
    lines: list[str] = []
    for row in shown:
        cells = (f"{text:{align[i]}{widths[i]}}" for i, text in enumerate(row[:-1]))
        start = "".join(cell + gap for cell in cells)
        if align[-1] == ">":
            lines.append(start + row[-1].rjust(widths[-1]))
        else:
            lines += wrapped(row[-1], width, first=start)
    return [line.rstrip() for line in lines]


def _stacked(headings: Sequence[str]) -> list[list[str]]:
    """Headings with a word a line, so that their columns are as narrow as can be."""
    words = [heading.split() for heading in headings]
    depth = max(map(len, words), default=0)
    return [
        [column[line - depth] if len(column) >= depth - line else "" for column in words]
        for line in range(depth)
    ]


def _list_lines(
    headings: Sequence[str], rows: Sequence[Sequence[str]], width: int, keys: int
) -> list[str]:
    lines: list[str] = []
    for row in rows:
        title = ""
        for heading, text in zip(headings[:keys], row[:keys], strict=True):
            if heading and text:
                title += f", {heading} {text}" if title else f"{heading} {text}"
            elif text:
                title += f" {text}" if title else text
        lines += wrapped(title, width)
        for heading, text in zip(headings[keys:], row[keys:], strict=True):
            if text not in ("", _NOTHING):
                fact = f"{heading}: {text}" if heading else text
                lines += wrapped(fact, width, first="  ", rest="    ")
    return lines
