"""How many examples a property gets: few in the quick run, ten times as many when searching."""

from __future__ import annotations

from typing import Any

from hypothesis import settings

QUICK = 40
SEARCHING = 10 * QUICK


def examples(quick: int, **others: Any) -> settings:
    """Settings of a property that doesn't take the usual number of examples.

    Parameters
    ----------
    quick : int
        How many in the quick run, of which each takes the same; by
        `--hypothesis-profile=searching` it is ten times as many.
    **others
        Other settings.
    """
    times = max(1, settings().max_examples // QUICK)
    return settings(max_examples=times * quick, **others)
