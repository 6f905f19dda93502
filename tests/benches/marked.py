"""Tables on a page that a script keeps current, each between two comments with its name."""

from __future__ import annotations

import re
from pathlib import Path


def renew(page: Path, name: str, table: str) -> None:
    """Put a table between a page's marks: `<!-- NAME -->` or `<!-- NAME: how -->`, and its end.

    Raises
    ------
    ValueError
        If the page has lost them.
    """
    text = page.read_text(encoding="utf-8")
    marks = rf"(<!-- {name}(?::[^>]*)? -->\n).*?(<!-- end of {name} -->)"
    renewed, count = re.subn(marks, lambda m: m[1] + table + m[2], text, count=1, flags=re.DOTALL)
    if count == 0:
        raise ValueError(f"{page} has lost the marks of {name}")
    page.write_text(renewed, encoding="utf-8")
