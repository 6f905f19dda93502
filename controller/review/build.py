"""The whole review of a period, from an open record to everything that is shown of it."""

from __future__ import annotations

import contextlib
import datetime as dt
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from controller.record import RecordReader
from controller.record.situation import SIMULATED_KEY
from controller.review.causes import explain
from controller.review.figures import Counted, Figures, count
from controller.review.overrides import Override, find_overrides
from controller.review.period import Period, choose_period, local_date
from controller.review.quality import Quality, Standing, find_alarms, judge
from controller.review.runs import Run, read_runs
from controller.review.source import Source
from controller.review.spells import Spell, find_spells
from controller.review.standstill import find_standstills
from controller.review.sums import Hour, hour_sums
from controller.review.terms import TermsOfRecord

if TYPE_CHECKING:
    from controller.settings import Loaded, Settings


_SIDE_BY_SIDE_FROM_DAYS = 60
_LAST_START_OR_STOP = """
SELECT name FROM events WHERE name IN ('daemon.started', 'daemon.stopped') ORDER BY id DESC LIMIT 1
"""


class Asked(NamedTuple):
    """What the command line asks for, as written there."""

    day: str | None = None
    first: str | None = None
    last: str | None = None
    length: str | None = None


class Review(NamedTuple):
    """Everything a review knows.

    Attributes
    ----------
    settings : Settings
        The present config.
    period : Period
        The days reviewed.
    counted : Counted
        Figures of the period and of each day.
    hours : tuple of Hour
        Sums by hour, for heat maps.
    runs : tuple of Run
        Stretches in which nothing counted changed.
    spells, overrides, alarms, quality
        What happened.
    standstills : tuple of (float, float)
        When the fan was commanded and did not turn [Unix ms].
    now_ms : float
        When the review was made [Unix ms].
    terms : TermsOfRecord
        The configs that were in force.
    is_simulated : bool
        Whether a simulation wrote the record.
    """

    settings: Settings
    record: Path
    period: Period
    counted: Counted
    hours: tuple[Hour, ...]
    runs: tuple[Run, ...]
    spells: tuple[Spell, ...]
    overrides: tuple[Override, ...]
    alarms: tuple[Standing, ...]
    quality: Quality
    standstills: tuple[tuple[float, float], ...]
    now_ms: float
    terms: TermsOfRecord
    is_simulated: bool

    @property
    def figures(self) -> Figures:
        """The figures of the whole period."""
        return self.counted.whole

    @property
    def is_one_day(self) -> bool:
        """Whether a single day is reviewed."""
        return len(self.period.days) == 1

    @property
    def is_empty(self) -> bool:
        """Whether the period has no reading."""
        return self.figures.readings == 0


def open_source(
    loaded: Loaded, record: Path | None, asked: Asked, now_ms: float | None = None
) -> Source:
    """Open the record and settle the period.

    Parameters
    ----------
    loaded : Loaded
        The present config.
    record : pathlib.Path or None
        The record, if not the config's own.
    asked : Asked
        The period asked for.
    now_ms : float, optional
        The present [Unix ms]; default: the clock.

    Raises
    ------
    RecordError, UserError
        If the record cannot be read, or the period not be understood.
    """
    settings = loaded.settings
    reader = RecordReader(record or settings.record_path)
    try:
        zone = ZoneInfo(settings.place.timezone)
        now = now_ms if now_ms is not None else present_ms(reader)
        today = local_date(now, zone)
        span = reader.span()
        newest = today if span is None else local_date(span[1] - 1, zone)
        period = choose_period(
            zone,
            newest=newest,
            today=today,
            day=asked.day,
            first=asked.first,
            last=asked.last,
            length=asked.length,
        )
    except BaseException:
        reader.close()
        raise
    return Source(reader, period, loaded)


def present_ms(reader: RecordReader) -> float:
    """The present [Unix ms]; in a simulation under way, how far it has come."""
    if reader.state(SIMULATED_KEY) is not None:
        span = reader.span()
        last = [row[0] for row in reader.sql(_LAST_START_OR_STOP)]
        if span is not None and last == ["daemon.started"]:
            return float(span[1])
    return time.time() * 1000.0


def build(source: Source, settings: Settings, now_ms: float | None = None) -> Review:
    """Work everything out; `source` is entered already."""
    from controller.photoperiod import Timetable

    now = now_ms if now_ms is not None else present_ms(source.reader)
    with contextlib.ExitStack() as stack:
        sources = [source]
        if len(source.period.days) >= _SIDE_BY_SIDE_FROM_DAYS:
            sources.append(source.sibling())
            stack.callback(sources[1].close)
        hours, runs = _read(sources)
        counted = count(source, hours, runs, Timetable.from_settings(settings))
        quality = judge(source, counted.gaps, counted.whole.readings, now)
        spells = find_spells(runs)
        overrides = find_overrides(source, runs)
        standstills = find_standstills(source)
        explain(sources, spells, overrides, standstills, quality)
    return Review(
        settings=settings,
        record=source.path,
        period=source.period,
        counted=counted,
        hours=tuple(hours),
        runs=tuple(runs),
        spells=tuple(spells),
        overrides=tuple(overrides),
        alarms=tuple(find_alarms(source)),
        quality=quality,
        standstills=tuple(standstills),
        now_ms=now,
        terms=source.terms,
        is_simulated=source.reader.state(SIMULATED_KEY) is not None,
    )


def _read(sources: list[Source]) -> tuple[list[Hour], list[Run]]:
    """The two great queries; of a long period side by side: SQLite lets other threads run."""
    if len(sources) == 1:
        return hour_sums(sources[0]), read_runs(sources[0])
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(1) as pool:
        runs = pool.submit(read_runs, sources[1])
        return hour_sums(sources[0]), runs.result()


def day_of(review: Review, date: dt.date) -> Figures:
    """The figures of one of its days."""
    for day, figures in zip(review.period.days, review.counted.days, strict=True):
        if day.date == date:
            return figures
    raise KeyError(date)


def longest(spells: Sequence[Spell], quantity: str, side: str) -> Spell | None:
    """The longest spell of one kind."""
    chosen = [one for one in spells if (one.quantity, one.side) == (quantity, side)]
    return max(chosen, key=lambda one: one.minutes, default=None)
