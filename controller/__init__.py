"""Keeps the air of a small indoor growing tent right."""

__version__ = "0.1.0"
