"""The review as one self-contained page."""

from controller.review.page.build import render_page

__all__ = ["render_page"]
