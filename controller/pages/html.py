"""Just enough HTML: pages, tables and sections with everything escaped."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Sequence
from html import escape
from importlib import resources

from controller.display import unbroken

_CODE = re.compile(r"`([^`]+)`|(?<![\w-])(--[a-z][a-z0-9-]*)")

# Nothing may be loaded from anywhere: the page is the file.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def document(title: str, css: str, body: str) -> str:
    """A whole page without a script, in the common style.

    Parameters
    ----------
    title : str
        Its title, escaped here.
    css : str
        What the page adds to the common style.
    body : str
        What is in its `main`, HTML.
    """
    base = resources.files("controller.pages").joinpath("base.css").read_text("utf-8")
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"<title>{escape(title)}</title><style>{base}{css}</style></head>\n"
        f"<body><main>{body}</main></body></html>\n"
    )


def care(texts: Sequence[str]) -> str:
    """Cautions in a box, where the risk is met; nothing for none."""
    if not texts:
        return ""
    first, *others = (f"<p>{prose(text)}</p>" for text in texts)
    first = first.replace("<p>", "<p><strong>Take care.</strong> ", 1)
    return f'<div class="care" role="note">{first}{"".join(others)}</div>'


def prose(text: str) -> str:
    """Text of any kind, escaped: no line breaks between a number and its unit.

    What is in backquotes is code, and so is an option.
    """
    return _CODE.sub(lambda match: f"<code>{match[1] or match[2]}</code>", escape(unbroken(text)))


def table(
    caption: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    numbers: Sequence[int] = (),
    unprinted: Container[int] = (),
    css: str = "",
) -> str:
    """A table whose first column names its rows.

    Parameters
    ----------
    caption : str
        What it shows; read out, and seen only where `css` says so.
    heads : sequence of str
        Column heads.
    rows : iterable of sequence of str
        Cells, escaped here.
    numbers : sequence of int
        Columns set to the right.
    unprinted : container of int
        Rows that are left out on paper.
    css : str
        Further classes.
    """
    head = "".join(
        f'<th scope="col"{_right(index, numbers)}>{prose(text)}</th>'
        for index, text in enumerate(heads)
    )
    body = []
    for count, row in enumerate(rows):
        first, *others = row
        cells = f'<th scope="row">{prose(first)}</th>' + "".join(
            f'<td{_right(index, numbers)} data-label="{escape(heads[index])}">{prose(text)}</td>'
            for index, text in enumerate(others, start=1)
        )
        late = ' class="screen"' if count in unprinted else ""
        body.append(f"<tr{late}>{cells}</tr>")
    shown = len(body) - sum(count in unprinted for count in range(len(body)))
    return (
        f'<div class="scroll"><table class="{css}"><caption>{prose(caption)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
        + left_out(shown, len(body))
    )


def folded_table(
    caption: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    sizes: Sequence[float],
    *,
    shown: int,
    printed: int,
    numbers: Sequence[int] = (),
    css: str = "",
) -> str:
    """A table of which only the greatest rows are seen at once, and fewer still on paper.

    Parameters
    ----------
    caption, heads, rows, numbers, css
        As for `table`.
    sizes : sequence of float
        How much each row matters.
    shown, printed : int
        How many rows are seen before the rest is unfolded; how many are on paper.
    """
    others = all_but_greatest(sizes, shown)
    shown_rows = [index for index in range(len(rows)) if index not in others]
    shown_cells = [rows[index] for index in shown_rows]
    unprinted = all_but_greatest([sizes[index] for index in shown_rows], printed)
    body = table(caption, heads, shown_cells, numbers=numbers, unprinted=unprinted, css=css)
    if not others:
        return body
    # On paper the rest is not there at all, and neither is what unfolds it.
    whole = table(f"{caption}, all", heads, rows, numbers=numbers, css=css)
    return f"{body}<details><summary>All {len(rows)} of them</summary>{whole}</details>"


def _right(index: int, numbers: Sequence[int]) -> str:
    return ' class="n"' if index in numbers else ""


def section(title: str, body: str, *, identity: str, css: str = "") -> str:
    """A section with its heading; nothing without a body."""
    if not body:
        return ""
    return (
        f'<section aria-labelledby="{identity}"{f" class={chr(34)}{css}{chr(34)}" if css else ""}>'
        f'<h2 id="{identity}">{prose(title)}</h2>{body}</section>'
    )


def paragraph(text: str, css: str = "") -> str:
    """A paragraph, escaped."""
    return f"<p{f' class={chr(34)}{css}{chr(34)}' if css else ''}>{prose(text)}</p>"


def left_out(shown: int, whole: int) -> str:
    """Says on paper that it does not show everything; nothing where it does."""
    if shown == whole:
        return ""
    return f'<div class="paper">{shown} of {whole}; the others are on the screen</div>'


def items(texts: Iterable[str]) -> str:
    """A list, escaped; nothing for none."""
    body = "".join(f"<li>{prose(text)}</li>" for text in texts)
    return f"<ul>{body}</ul>" if body else ""


def all_but_greatest(sizes: Sequence[float], count: int) -> set[int]:
    """Indices of everything but the so many greatest."""
    ranked = sorted(range(len(sizes)), key=lambda index: -sizes[index])
    return set(ranked[count:])
