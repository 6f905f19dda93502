"""The whole review of a period, from an open record to everything that is shown of it."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.record.status import SIMULATED_KEY
from controller.review.aggregates import Hour, hour_sums
from controller.review.causes import explain
from controller.review.config_terms import TermsOfRecord
from controller.review.deviations import Deviation, find_deviations
from controller.review.excursions import Spell, find_spells
from controller.review.fan_stalls import find_standstills
from controller.review.figures import Counted, Figures, count
from controller.review.open_record import present_ms
from controller.review.overrides import Override, find_overrides
from controller.review.period import Period
from controller.review.quality import ActiveSpan, Quality, find_alarms, judge
from controller.review.segments import Run, read_runs
from controller.review.source import RecordSource
from controller.review.swings import mark_swings

if TYPE_CHECKING:
    from controller.config import Settings


_SIDE_BY_SIDE_FROM_DAYS = 60


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
    deviations : tuple of Deviation
        When the tent was not as its config lets expect.
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
    alarms: tuple[ActiveSpan, ...]
    quality: Quality
    standstills: tuple[tuple[float, float], ...]
    deviations: tuple[Deviation, ...]
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


def build(source: RecordSource, settings: Settings, now_ms: float | None = None) -> Review:
    """Work everything out; `source` is entered already."""
    from controller.timetable import Timetable

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
        deviations = find_deviations(source)
        explain(sources, spells, overrides, standstills, quality, deviations)
        mark_swings(spells, source.period)
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
        deviations=tuple(deviations),
        now_ms=now,
        terms=source.terms,
        is_simulated=source.reader.state(SIMULATED_KEY) is not None,
    )


def _read(sources: list[RecordSource]) -> tuple[list[Hour], list[Run]]:
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
