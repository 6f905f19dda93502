"""The whole review of a period, from an open record to everything that is shown of it."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.control.thresholds import Rules
from controller.record.status import SIMULATED_KEY
from controller.review.aggregates import Hour, hourly_aggregates
from controller.review.causes import explain
from controller.review.config_terms import TermsOfRecord
from controller.review.deviations import Deviation, find_deviations
from controller.review.excursions import Excursion, find_excursions
from controller.review.fan_stalls import find_fan_stalls
from controller.review.figures import Counted, Figures, count
from controller.review.learned_flow import LearnedFlow, find_learned_flows
from controller.review.open_record import present_ms
from controller.review.overrides import Override, find_overrides
from controller.review.period import Period, day_start_ms
from controller.review.quality import ActiveSpan, Quality, find_alarms, judge
from controller.review.segments import Segment, read_segments
from controller.review.side_by_side import side_by_side
from controller.review.source import RecordSource
from controller.review.speed_effects import with_speed_effects
from controller.review.swings import mark_swings
from controller.review.tent_changes import find_tent_changes
from controller.review.trends import Trend, find_trends
from controller.stored_tomorrow import StoredTomorrow, stored_tomorrow

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
    segments : tuple of Segment
        Stretches in which nothing counted changed.
    excursions, overrides, alarms, quality
        What happened.
    fan_stalls : tuple of (float, float)
        When the fan was commanded and did not turn [Unix ms].
    deviations : tuple of Deviation
        When the tent was not as its config, or the tent as learned, lets expect.
    trends : tuple of Trend
        Slow changes over several days.
    learned_flows : tuple of LearnedFlow
        What the fan moved, as learned within the period and four weeks before; none or several.
    now_ms : float
        When the review was made [Unix ms].
    tomorrow : StoredTomorrow or None
        What the last night foresaw, where the newest days are reviewed.
    terms : TermsOfRecord
        The configs that were in force.
    is_simulated : bool
        Whether a simulation wrote the record.
    is_modulated : bool
        Whether the modulating law chooses speeds by the present config.
    """

    settings: Settings
    record: Path
    period: Period
    counted: Counted
    hours: tuple[Hour, ...]
    segments: tuple[Segment, ...]
    excursions: tuple[Excursion, ...]
    overrides: tuple[Override, ...]
    alarms: tuple[ActiveSpan, ...]
    quality: Quality
    fan_stalls: tuple[tuple[float, float], ...]
    deviations: tuple[Deviation, ...]
    trends: tuple[Trend, ...]
    learned_flows: tuple[LearnedFlow, ...]
    now_ms: float
    tomorrow: StoredTomorrow | None
    terms: TermsOfRecord
    is_simulated: bool
    is_modulated: bool

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
        hours, segments = _read(sources)
        counted = count(source, hours, segments, Timetable.from_settings(settings))
        quality = judge(source, counted, now)
        excursions = find_excursions(segments)
        overrides = with_speed_effects(source, find_overrides(source, segments))
        fan_stalls = find_fan_stalls(source)
        deviations = find_deviations(source)
        deviations += find_tent_changes(source, deviations, segments)
        deviations.sort(key=lambda deviation: deviation.start_ms)
        explain(sources, excursions, overrides, fan_stalls, quality, deviations)
        mark_swings(excursions, source.period)
    return Review(
        settings=settings,
        record=source.path,
        period=source.period,
        counted=counted,
        hours=tuple(hours),
        segments=tuple(segments),
        excursions=tuple(excursions),
        overrides=tuple(overrides),
        alarms=tuple(find_alarms(source)),
        quality=quality,
        fan_stalls=tuple(fan_stalls),
        deviations=tuple(deviations),
        trends=tuple(find_trends(source)),
        learned_flows=tuple(find_learned_flows(source)),
        now_ms=now,
        tomorrow=_tomorrow(source, now),
        terms=source.terms,
        is_simulated=source.reader.state(SIMULATED_KEY) is not None,
        is_modulated=Rules.from_settings(settings).modulation is not None,
    )


def _tomorrow(source: RecordSource, now_ms: float) -> StoredTomorrow | None:
    """What was foreseen last night; None where yesterday and today are not reviewed."""
    period = source.period
    if now_ms >= day_start_ms(period.days[-1].date + dt.timedelta(days=2), period.zone):
        return None
    return stored_tomorrow(source.reader, period.zone, now_ms)


def _read(sources: list[RecordSource]) -> tuple[list[Hour], list[Segment]]:
    """The two great queries; of a long period side by side."""
    if len(sources) == 1:
        return hourly_aggregates(sources[0]), read_segments(sources[0])
    return side_by_side(lambda: hourly_aggregates(sources[0]), lambda: read_segments(sources[1]))


def longest(excursions: Sequence[Excursion], quantity: str, side: str) -> Excursion | None:
    """The longest excursion of one kind."""
    chosen = [
        excursion
        for excursion in excursions
        if (excursion.quantity, excursion.side) == (quantity, side)
    ]
    return max(chosen, key=lambda excursion: excursion.minutes, default=None)
