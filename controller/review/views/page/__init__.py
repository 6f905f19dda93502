"""The review as one self-contained page."""

from controller.review.views.page.build import render_page

__all__ = ["render_page"]
