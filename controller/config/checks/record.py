"""The record's file, as far as the config decides where it is."""

from __future__ import annotations

from collections.abc import Iterator

from controller.config.checks.view import CheckedConfig, Objection
from controller.config.model import has_letter_or_digit


def _own_file(view: CheckedConfig) -> Iterator[Objection]:
    """Two tents whose names leave nothing for a file's name would write one record."""
    settings = view.settings
    if settings.record.path is None and not has_letter_or_digit(settings.tent.name):
        yield Objection(
            ("tent", "name"),
            "`tent.name` has no letter and no digit to call the record's file after, so another "
            "tent might write the same one",
            "a name with one of these, or `record.path`",
            (("record", "path"),),
        )


RULES = (_own_file,)
