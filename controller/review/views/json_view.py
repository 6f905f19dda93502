"""The review as a JSON document."""

from __future__ import annotations

from controller.review.advice import Advice
from controller.review.report import Review
from controller.review.views.json_fields import Json, values
from controller.review.views.json_layout import DOCUMENT, ReviewDocument


def document(review: Review, advice: Advice | None = None) -> Json:
    """Everything the review knows; see `controller.review.views.json_layout`."""
    return values(DOCUMENT, review, ReviewDocument(review, advice or Advice()))
