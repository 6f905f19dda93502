"""The list of excursions: long ones one by one, short ones of a kind together.

A tent that is purged every two hours leaves its band a dozen times a day for the same reasons. A
list of twelve like entries hides the one that differs.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.display import hours_and_minutes
from controller.review.causes import added_up
from controller.review.excursions import Excursion
from controller.review.phrases import too_words, value_words
from controller.review.report import Review
from controller.review.views.cause_words import cause_words, excursion_words

# An excursion this long has an entry of its own [min]; of many days, only a longer one.
_LONG = 60.0
_LONG_OF_MANY_DAYS = 240.0
_ALONE = 3
# Less than this all together is not worth a line [min].
_LEAST_TOGETHER = 5.0
# A cause that held for less of the time is left to --json, but for what nobody would expect.
_LEAST_SHARE = 0.1
_ALWAYS_LISTED = (
    "fan_not_turning",
    "less_air_than_expected",
    "held_by_hand",
    "sensor_missing",
    "config_changed",
)


class ReportedExcursion(NamedTuple):
    """An entry of the list: one excursion, or all short ones of a quantity and side.

    Attributes
    ----------
    excursions : tuple of Excursion
        At least one.
    """

    excursions: tuple[Excursion, ...]

    @property
    def minutes(self) -> float:
        """Out of band, together [min]."""
        return sum(excursion.minutes for excursion in self.excursions)

    def title(self, review: Review) -> str:
        """What happened: "01:05–06:01 VPD too high 5 times, 1 h together, up to 2.05 kPa"."""
        first, last = self.excursions[0], self.excursions[-1]
        if len(self.excursions) == 1:
            return excursion_words(review, first)
        worst, way = (max, "up to") if first.side == "above" else (min, "down to")
        extremes = [
            excursion.extreme for excursion in self.excursions if excursion.extreme is not None
        ]
        value = worst(extremes) if extremes else None
        return (
            f"{review.period.span(first.start_ms, last.end_ms)} "
            f"{too_words(first.quantity, first.side)} {len(self.excursions)} times, "
            f"{hours_and_minutes(self.minutes)} together, the longest "
            f"{hours_and_minutes(max(excursion.minutes for excursion in self.excursions))}, "
            f"{way} {value_words(first.quantity, value, review.settings.units)}"
        )

    def causes(self, review: Review) -> list[str]:
        """Why, the longest cause first, without those that hardly held."""
        if len(self.excursions) == 1:
            causes = self.excursions[0].causes
        else:
            causes = added_up(
                c for excursion in self.excursions for c in excursion.causes if excursion.covers(c)
            )
        least = _LEAST_SHARE * self.minutes
        return [
            cause_words(review, cause, self.excursions)
            for cause in causes
            if cause.minutes >= least or cause.code in _ALWAYS_LISTED or cause is causes[0]
        ]


def grouped_excursions(review: Review) -> list[ReportedExcursion]:
    """Every excursion of the review in one entry or another, the longest entry first.

    Of many days no more than the longest few of a kind have their own entry, or a hot month
    would leave no room for a cold one.
    """
    long, most = (
        (_LONG, len(review.excursions)) if review.is_one_day else (_LONG_OF_MANY_DAYS, _ALONE)
    )
    kinds: dict[tuple[str, str], list[Excursion]] = {}
    for excursion in review.excursions:
        kinds.setdefault((excursion.quantity, excursion.side), []).append(excursion)
    entries = []
    for excursions in kinds.values():
        longest = sorted(excursions, key=lambda excursion: -excursion.minutes)[:most]
        alone = [excursion for excursion in longest if excursion.minutes >= long]
        entries += [ReportedExcursion((excursion,)) for excursion in alone]
        together = [excursion for excursion in excursions if excursion not in alone]
        if together:
            entries.append(ReportedExcursion(tuple(together)))
    return sorted(entries, key=lambda entry: -entry.minutes)


def choose_entries(
    entries: list[ReportedExcursion], most: int
) -> tuple[list[ReportedExcursion], list[Excursion]]:
    """The entries worth listing, in order of time, and the excursions of all the others."""
    chosen_entries = [entry for entry in entries if entry.minutes >= _LEAST_TOGETHER][
        :most
    ] or entries[:1]
    rest = [
        excursion
        for entry in entries
        if entry not in chosen_entries
        for excursion in entry.excursions
    ]
    return sorted(chosen_entries, key=lambda entry: entry.excursions[0].start_ms), rest
