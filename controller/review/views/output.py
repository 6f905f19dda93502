"""A review in the form that was asked for."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from controller.review.advice import Advice
from controller.review.report import Review, build
from controller.review.series import read_series
from controller.review.source import RecordSource
from controller.review.views.advice_words import advice_words
from controller.review.views.headline import headline
from controller.whole_file import whole_file

if TYPE_CHECKING:
    from controller.config import Loaded

_TERMINAL_STEPS = 288
_PAGE_STEPS = 720
_MOST_EVENTS = 12


def show(
    source: RecordSource,
    loaded: Loaded,
    args: argparse.Namespace,
    advised: Callable[[Review], Advice] = lambda _: Advice(),
) -> int:
    """Print or write the review; gives the exit status.

    Parameters
    ----------
    source : RecordSource
        The record, entered.
    loaded : Loaded
        The present config.
    args : argparse.Namespace
        What form is asked for.
    advised : callable
        Works out what to change; asked once the headline is out.
    """
    review = build(source, loaded.settings)

    if args.json:
        from controller.review.views.json_view import document

        json.dump(document(review, advised(review)), sys.stdout, ensure_ascii=False)
        print()
        return 0
    if args.html is not None:
        return _write_page(source, review, advised(review), args.html)
    from controller.review.views.glyphs import Glyphs
    from controller.review.views.terminal import screen
    from controller.tables import terminal_width

    series = read_series(source, _TERMINAL_STEPS) if review.is_one_day else []
    glyphs = Glyphs.for_stream(sys.stdout, plain=args.ascii)

    def advice() -> list[str]:
        return advice_words(review, advised(review))

    for part in screen(review, series, glyphs, advice=advice, width=terminal_width()):
        print(part, flush=True)
    return 0


def _write_page(
    source: RecordSource,
    review: Review,
    advice: Advice,
    target: Path,
) -> int:
    """Write the page, whole or not at all."""
    from controller.review.views.chart_events import find_chart_events
    from controller.review.views.page import render_page

    series = read_series(source, _PAGE_STEPS) if review.is_one_day else []
    chart_events, more = (
        find_chart_events(source, review, _MOST_EVENTS) if review.is_one_day else ([], 0)
    )
    page = render_page(review, series, chart_events, more, advice=advice)
    if str(target) == "-":
        sys.stdout.write(page)
        return 0
    with whole_file(target) as part:
        part.write_text(page, encoding="utf-8")
    print(f"{headline(review)}.\nWritten to {target}", file=sys.stderr)
    return 0
