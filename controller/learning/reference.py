"""The reference week: how the tent was when its filter was new, or its config last changed.

What is usual is told by the first week that could be learned since tent, lamp, fan, duct, filter or
sensors last changed in the config, or since a person said that the filter was (`FILTER_CHANGED`).
So a filter that stays loaded does not become usual by and by.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from controller.learning.flow_fall import DAY_S
from controller.learning.learn import CannotLearnError, learn
from controller.learning.learned import Learned, learned_from_json

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record.reader import RecordReader
    from controller.record.rows import ReadingRow

FILTER_CHANGED = "filter.changed"
"""The event by which a person says that the filter was changed, or fan and duct were cleaned."""

DAYS = 7
"""A reference needs as many days with readings."""

# What stands for the end of a day when readings and clocks come a little late [ms].
_SLACK_MS = 3_600_000

Read = Callable[[float, float], Iterator["ReadingRow"]]
"""Gives the readings that end after one time and not after another [Unix s]."""


def reference_start_ms(reader: RecordReader, alike: frozenset[int]) -> int:
    """Since when the air goes the way it goes now [Unix ms]; 0: since before the record.

    Parameters
    ----------
    reader : RecordReader
        The record.
    alike : frozenset of int
        The configs that are alike in all but the crop.
    """
    start_ms, is_alike = 0, True
    for row in reader.configs():
        if row.id in alike and not is_alike:
            start_ms = row.at_ms
        is_alike = row.id in alike
    for event in reader.events(names=(FILTER_CHANGED,), newest=1):
        start_ms = max(start_ms, event.at_ms)
    return start_ms


def reference(
    reader: RecordReader, settings: Settings, alike: frozenset[int], read: Read
) -> Learned | None:
    """The tent in its reference week; None while there is no such week.

    Parameters
    ----------
    reader : RecordReader
        The record.
    settings : Settings
        The config in force.
    alike : frozenset of int
        The configs that are alike in all but the crop.
    read : callable
        Gives their readings: for a record that nothing was learned in by night.
    """
    ends = reader.span()
    if ends is None:
        return None
    start_ms = reference_start_ms(reader, alike)
    for row in reader.learnings():
        if row.config_id in alike and row.at_ms >= start_ms and "learned" in row.result:
            learned = learned_from_json(row.result["learned"])
            if learned is not None and _is_reference(learned, start_ms):
                return learned
    from_s = max(start_ms, ends[0]) / 1000.0
    if ends[1] / 1000.0 < from_s + DAYS * DAY_S:
        return None
    with contextlib.suppress(CannotLearnError):
        return learn(settings, read(from_s - 1.0, from_s + DAYS * DAY_S))
    return None


def _is_reference(learned: Learned, start_ms: int) -> bool:
    return learned.days >= DAYS and 1000.0 * learned.from_s >= start_ms - _SLACK_MS
