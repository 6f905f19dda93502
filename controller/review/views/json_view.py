"""The review as a JSON document."""

from __future__ import annotations

from collections.abc import Sequence

from controller.review.advice import Advice
from controller.review.report import Review
from controller.review.trends import Trend
from controller.review.views.json_fields import Json, values
from controller.review.views.json_layout import DOCUMENT, ReviewDocument


def document(review: Review, trends: Sequence[Trend] = (), advice: Advice | None = None) -> Json:
    """Everything the review knows; see `controller.review.views.json_layout`."""
    return values(DOCUMENT, review, ReviewDocument(review, trends, advice or Advice()))
