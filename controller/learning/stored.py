"""What a record keeps of earlier learnings, for whatever simulates the tent."""

from __future__ import annotations

from collections.abc import Callable, Container
from typing import TYPE_CHECKING

from controller.config.tent_body import tent_body
from controller.learning.learned import Learned, learned_from_json

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record.reader import RecordReader

# A failing sensor or a week of open doors may leave out some nights.
_NIGHTS_BACK = 30


def newest_learned(
    reader: RecordReader, settings: Settings, until_ms: float | None = None
) -> Learned | None:
    """The newest tent learned under a config like this one; None where there is none.

    Parameters
    ----------
    reader : RecordReader
        The record.
    settings : Settings
        Whose tent: all but the fan's control and the targets must be alike.
    until_ms : float or None
        What was learned later is not looked at, unless nothing was before [Unix ms].
    """
    rows = [row for row in reader.learnings(_NIGHTS_BACK) if "learned" in row.result]
    if not rows:
        return None
    alike = alike_configs(reader, settings)
    rows = [row for row in rows if row.config_id in alike]
    before = [row for row in rows if until_ms is None or row.at_ms <= until_ms]
    for row in [*reversed(before), *rows]:
        learned = learned_from_json(row.result["learned"])
        if learned is not None:
            return learned
    return None


def alike_configs(
    reader: RecordReader,
    settings: Settings,
    among: Container[int] | None = None,
    by: Callable[[Settings], object] = tent_body,
) -> frozenset[int]:
    """The recorded configs that describe the same tent; of those `among` only, if given."""
    from controller.config import ConfigError, settings_from_text

    wanted, alike = by(settings), set()
    for row in reader.configs():
        if among is not None and row.id not in among:
            continue
        try:
            recorded = settings_from_text(row.yaml, "config in the record").settings
        except ConfigError:
            continue  # written by another version
        if by(recorded) == wanted:
            alike.add(row.id)
    return frozenset(alike)
