"""The page printed by headless Chromium: pages, size of text, headings. Skipped without one."""

from __future__ import annotations

import html
import re
import unicodedata
from itertools import groupby
from pathlib import Path

import pytest
from browser_pages import chromium, needs_chromium
from pdf_text import PrintedText, printed_text

pytestmark = needs_chromium
PAPERS = ("letter", "A4")


NAMES = ("busy day", "month", "hot day")


def printed(body: str, style: str, paper: str, folder: Path) -> list[PrintedText]:
    page, target = folder / "page.html", folder / "page.pdf"
    style = style.replace("@page {", f"@page {{ size: {paper};")
    page.write_text(f"<!DOCTYPE html>{style}<body>{body}</body>", encoding="utf-8")
    chromium("--no-pdf-header-footer", f"--print-to-pdf={target}", str(page))
    return printed_text(target.read_bytes())


def between(tag: str, page: str) -> str:
    """An element of a page that is there once."""
    (element,) = re.findall(rf"<{tag}\b.*</{tag}>", page, flags=re.DOTALL)
    assert isinstance(element, str)
    return element


def on_a_new_page(body: str, height_mm: int = 0) -> str:
    return f'<div style="break-before: page; height: {height_mm}mm"></div>{body}'


@pytest.mark.parametrize("paper", PAPERS)
def test_each_prints_on_two_pages_in_text_of_seven_points_and_more(
    pages: dict[str, Path], paper: str, tmp_path: Path
) -> None:
    texts = [pages[name].read_text("utf-8") for name in NAMES]
    body = "".join(on_a_new_page(between("main", text) + between("footer", text)) for text in texts)
    pieces = printed(body, between("style", texts[0]), paper, tmp_path)
    on_page = {
        page: letters("".join(piece.text for piece in of_page))
        for page, of_page in groupby(pieces, key=lambda piece: piece.page)
    }
    assert list(on_page) == list(range(2 * len(NAMES)))
    assert min(piece.size for piece in pieces) >= 7.0
    for number, text in enumerate(texts):
        first, second = on_page[2 * number], on_page[2 * number + 1]
        assert inner_letters(between("h1", text)) in first
        assert second.endswith(inner_letters(between("footer", text)))
        in_charts = "Fanspeed,%,byreason", "Fan,hoursadaybyreason"
        assert any(words in first + second for words in in_charts)


def test_no_heading_is_last_on_a_page(pages: dict[str, Path], tmp_path: Path) -> None:
    """However much stands above it: the pages are printed at many heights."""
    texts = [pages[name].read_text("utf-8") for name in NAMES]
    bodies = [undrawn(between("main", text)) for text in texts]
    copies = [on_a_new_page(body, height) for body in bodies for height in range(4, 250, 41)]
    pieces = printed("".join(copies), between("style", texts[0]), "A4", tmp_path)
    assert pieces[-1].page > 12 * len(bodies)
    headings = [headings_of(body) for body in bodies]
    assert min(len(each) for each in headings) > 10
    for page, of_page in groupby(pieces, key=lambda piece: piece.page):
        assert letters(last_line(list(of_page))) not in set().union(*headings), page


def undrawn(page: str) -> str:
    """Without what charts draw, which leaves their sizes: it prints in a tenth of the time."""
    page = re.sub(r'<svg [^>]*class="chart (?:wide|narrow)".*?</svg>', "", page, flags=re.DOTALL)
    return re.sub(r"<path\b[^>]*?(?:/>|>.*?</path>)", "", page, flags=re.DOTALL)


def last_line(pieces: list[PrintedText]) -> str:
    bottom = max(piece.y for piece in pieces)
    line = [piece for piece in pieces if piece.y > bottom - 1.0]
    return "".join(piece.text for piece in sorted(line, key=lambda piece: piece.x))


def headings_of(page: str) -> set[str]:
    """Headings, captions and the heads of tables, a line each."""
    lines = re.findall(r"<(h[123]|caption|thead)\b[^>]*>(.*?)</\1>", page, re.DOTALL)
    return {inner_letters(inner) for _, inner in lines}


def inner_letters(element: str) -> str:
    return letters(html.unescape(re.sub("<[^>]*>", "", element)))


def letters(text: str) -> str:
    """Without spaces and ligatures, which a PDF has its own ways with."""
    return re.sub(r"\s", "", unicodedata.normalize("NFKC", text))
