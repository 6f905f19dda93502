"""A review in the form that was asked for."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from controller.review.build import build
from controller.review.series import read_series
from controller.review.source import Source
from controller.review.trends import find_trends

if TYPE_CHECKING:
    from controller.settings import Loaded

_TERMINAL_STEPS = 288
_PAGE_STEPS = 720


def show(source: Source, loaded: Loaded, args: argparse.Namespace) -> int:
    """Print or write the review; gives the exit status."""
    review = build(source, loaded.settings)
    trends = find_trends(source)
    if args.json:
        from controller.review.document import document

        json.dump(document(review, trends), sys.stdout, ensure_ascii=False)
        print()
        return 0
    from controller.review.glyphs import Glyphs
    from controller.review.terminal import screen

    series = read_series(source, _TERMINAL_STEPS) if review.is_one_day else []
    print(screen(review, series, Glyphs.of(sys.stdout, plain=args.ascii)))
    return 0
