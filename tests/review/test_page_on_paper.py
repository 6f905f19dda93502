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


def printed(text: str, paper: str, folder: Path) -> list[PrintedText]:
    copy, target = folder / "page.html", folder / "page.pdf"
    copy.write_text(text.replace("@page {", f"@page {{ size: {paper};"), encoding="utf-8")
    chromium("--no-pdf-header-footer", f"--print-to-pdf={target}", str(copy))
    return printed_text(target.read_bytes())


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ["busy day", "month", "hot day"])
def test_it_prints_on_two_pages_in_text_of_seven_points_and_more(
    pages: dict[str, Path], name: str, paper: str, tmp_path: Path
) -> None:
    texts = printed(pages[name].read_text("utf-8"), paper, tmp_path)
    assert {text.page for text in texts} == {0, 1}
    assert min(text.size for text in texts) >= 7.0
    words = letters("".join(text.text for text in texts))
    assert "Fanspeed,%,byreason" in words or "Fan,hoursadaybyreason" in words  # in the charts too


@pytest.mark.parametrize("name", ["busy day", "month", "hot day"])
def test_no_heading_is_last_on_a_page(pages: dict[str, Path], name: str, tmp_path: Path) -> None:
    """However much stands above it: the page is printed at many heights."""
    text = pages[name].read_text("utf-8")
    before, body, after = re.split(r"(<main.*</main>)", text, flags=re.DOTALL)
    body = undrawn(body)
    copies = "".join(
        f'<div style="break-before: page; height: {height}mm"></div>{body}'
        for height in range(4, 250, 20)
    )
    texts = printed(before + copies + after, "A4", tmp_path)
    assert texts[-1].page > 25
    headings = headings_of(body)
    assert len(headings) > 10
    for page, pieces in groupby(texts, key=lambda piece: piece.page):
        assert letters(last_line(list(pieces))) not in headings, page


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
    return {letters(html.unescape(re.sub("<[^>]*>", "", inner))) for _, inner in lines}


def letters(text: str) -> str:
    """Without spaces and ligatures, which a PDF has its own ways with."""
    return re.sub(r"\s", "", unicodedata.normalize("NFKC", text))
