"""Which readings of a record can be learned from: the last days under one and the same tent."""

from __future__ import annotations

import contextlib
import datetime as dt
from typing import TYPE_CHECKING, Any, Literal

from controller.config.tent_body import ventilated_body
from controller.learning.drift import sensor_drift
from controller.learning.flow_fall import DAY_S, daily_flows, flow_fall
from controller.learning.flow_fall import DAYS as FLOW_DAYS
from controller.learning.learn import (
    CannotLearnError,
    UnlikelySensorsError,
    fixed_of,
    learn,
)
from controller.learning.learned import Learned, Week, learned_from_json
from controller.learning.reference import DAYS as REFERENCE_DAYS
from controller.learning.reference import reference
from controller.learning.stored import alike_configs
from controller.learning.sudden import (
    LOOK_BACK_S,
    LOOKED_AT_S,
    SETTLES_S,
    SuddenChange,
    sudden_change,
)
from controller.record.status import TENT_CHANGED_KEY

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.config import Settings
    from controller.record.reader import RecordReader
    from controller.record.rows import ReadingRow

DAYS = 7
"""How many days are learned from, unless somebody says otherwise."""

_DAY_MS = 86_400_000
# For so long a change is held against the days before it [s], and so many nights are looked at.
_STANDS_S, _NIGHTS_BACK = 7.0 * DAY_S, 20


def learn_from_record(
    reader: RecordReader, settings: Settings | None = None, days: float = DAYS
) -> Learned:
    """Learn a tent from the newest days of its record.

    Parameters
    ----------
    reader : RecordReader
        The record.
    settings : Settings or None
        The config; None for the one that the record has last.
    days : float
        How many days up to the newest reading.

    Raises
    ------
    UnlikelySensorsError
        The sensors differ by more than they may; with what drifted since the reference week.
    CannotLearnError
        The record doesn't tell; the message says why.
    """
    ends = reader.span()
    if ends is None:
        raise CannotLearnError("the record has no readings yet")
    until_ms = ends[1]
    alike, described = _configs(reader, settings)
    if described is None:
        raise CannotLearnError("the record has no config that this version can read")
    rows = _rows(reader, max(ends[0] - 1, round(until_ms - days * _DAY_MS)), until_ms, alike)
    try:
        learned = learn(described, rows)
    except UnlikelySensorsError as error:
        suspected = _compared(reader, described, error.learned, until_ms / 1000.0)
        raise UnlikelySensorsError(error.message, suspected) from error
    return _compared(reader, described, learned, until_ms / 1000.0)


def _compared(
    reader: RecordReader, settings: Settings, learned: Learned, until_s: float
) -> Learned:
    """What was learned, with the reference week and a fall of the flow since."""
    # What is planted is no matter here: transpiration is fitted to each day.
    alike = alike_configs(reader, settings, by=ventilated_body)

    def read(from_s: float, until_s: float) -> Iterator[ReadingRow]:
        return _rows(reader, round(1000.0 * from_s), round(1000.0 * until_s), alike)

    usual = reference(reader, settings, alike, read)
    if usual is None:
        return learned
    fixed = fixed_of(settings)
    days = min(FLOW_DAYS, int((until_s - usual.until_s) / DAY_S + 0.05))
    fall = flow_fall(
        daily_flows(fixed, read, usual.until_s, usual.fitted, REFERENCE_DAYS),
        daily_flows(fixed, read, until_s, usual.fitted, days),
    )
    week = Week(usual.from_s, usual.until_s)
    # Last night's and this one's: of one alone nothing is said.
    newest = reader.learnings(newest=1)
    before = None
    if newest:
        result = newest[0].result
        before = learned_from_json(result.get("learned", result.get("suspected")))
    drift = None
    if before is not None and before.until_s > usual.until_s:
        drift = sensor_drift(usual, (before, learned))
    if fall is not None and before is not None and before.fall is not None:
        # The first day on which it was found, also when that was weeks ago.
        fall = fall._replace(since_s=max(week.until_s, min(fall.since_s, before.fall.since_s)))
    return learned._replace(reference=week, fall=fall, drift=drift)


def change_in_record(reader: RecordReader) -> SuddenChange | Literal["unknown"] | None:
    """A change within the newest hours of a record under its newest config; see `sudden_change`.

    What is expected is told by the newest learning from before the change, for as long as a week:
    then what has changed is usual.
    """
    ends = reader.span()
    if ends is None:
        return "unknown"
    until_s = ends[1] / 1000.0
    saved = reader.state(TENT_CHANGED_KEY)
    since_s = None if saved is None else standing_since_s(saved.value)
    if since_s is not None and until_s - since_s > _STANDS_S:
        since_s = None
    onset_s = until_s - LOOKED_AT_S - SETTLES_S
    alike, settings = _configs(reader, None)
    learned = _learned_before(reader, alike, onset_s if since_s is None else since_s)
    if settings is None or learned is None or until_s - learned.until_s > 2.0 * _STANDS_S:
        return None
    rows = _rows(reader, round(1000.0 * (until_s - LOOK_BACK_S)), ends[1], alike)
    return sudden_change(fixed_of(settings), learned, rows, since_s)


def _learned_before(reader: RecordReader, alike: frozenset[int], at_s: float) -> Learned | None:
    for row in reversed(reader.learnings(newest=_NIGHTS_BACK)):
        learned = learned_from_json(row.result.get("learned")) if row.config_id in alike else None
        if learned is not None and learned.until_s <= at_s:
            return learned
    return None


def standing_since_s(saved: object) -> float | None:
    """Since when a change stands by what the daemon saved of it [Unix s]; None without one."""
    try:
        change: Any = saved["change"]  # type: ignore[index]
        return None if change is None else dt.datetime.fromisoformat(change["since"]).timestamp()
    except (KeyError, TypeError, ValueError, OverflowError):
        return None


def _rows(
    reader: RecordReader, after_ms: int, until_ms: int, alike: frozenset[int]
) -> Iterator[ReadingRow]:
    for row in reader.readings(after_ms + 1, until_ms + 1):
        if row.config_id is None or row.config_id in alike:
            yield row


def _configs(
    reader: RecordReader, settings: Settings | None
) -> tuple[frozenset[int], Settings | None]:
    """The recorded configs that describe the same tent as a given or the newest one, and that."""
    from controller.config import ConfigError, settings_from_text

    rows = reader.configs()
    newest = None
    if rows:
        with contextlib.suppress(ConfigError):  # written by another version
            newest = settings_from_text(rows[-1].yaml, "config in the record").settings
    wanted = settings or newest
    if wanted is None:
        return frozenset(), None
    alike = alike_configs(reader, wanted)
    if newest is not None and rows[-1].id not in alike:
        raise CannotLearnError(
            "this config describes another tent, lamp, fan, duct or crop than the one in force: "
            "let the daemon run with it for some days first, or give the config in force"
        )
    return alike, wanted
