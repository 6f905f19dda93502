"""What to change: each suggestion is a replay of recorded days with one thing changed.

Replay stands against replay: the recorded intake air goes into a simulated tent, as configured and
with a change made, by sensors that err as the recorded ones do. A change that helps the days under
review is judged on the days recorded around them as well, and dropped where those come off worse.
What only the model says is left out: there is no advice without intake readings, nor where the
simulated tent strays from the recorded one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller import display
from controller.airflow.rig import Ducting
from controller.control.types import Rule
from controller.display import hours_and_minutes
from controller.review.candidates import candidates
from controller.review.changes import SettingChange
from controller.review.compare import (
    LEAST_SAVED,
    DayChange,
    compared,
    is_harm,
    is_worth_it,
    net_gain_min,
    weighted,
)
from controller.review.excursions import KINDS, Kind
from controller.review.main_cause import worst_kind
from controller.review.phrases import amount_words, too_words
from controller.review.suggestion import Suggestion
from controller.review.what_if import LONGEST_DAYS, Days, WhatIf, read_days, what_if

if TYPE_CHECKING:
    from controller.review.report import Review
    from controller.review.source import RecordSource

# What is worth asking about [min a day], and the share of it that is worth saving.
_LEAST_OUT = 30.0
_LEAST_SHARE = 0.1
_MOST_KINDS = 2
_MOST_SAID = 3
_MOST_PLANS = 2
# How many changes that help the days under review are judged on the other days.
_MOST_JUDGED = 4
_MOST_CANDIDATES = 25  # about; for the progress shown
# How far the tent's readings may be from the model for a sensor's error, and how much may be left.
_LARGEST_BIAS_K, _LARGEST_BIAS_PCT = 2.5, 12.0
_LARGEST_ERROR_K, _LARGEST_ERROR_PCT = 1.5, 8.0
# So many times as long out of band as recorded, or the other way round, is not the same tent.
_SAME_TIMES = 2.0
# Intake air that was too hot for so much of the time leaves little to settings.
_INTAKE_SHARE = 0.9
_TOO_HOT = ("temperature", "above")


_SEE_TO_THE_AIR = (
    "First see to the air that did not come (above): no setting brings it, and what it did to the "
    "tent is taken for its sensors' error here."
)

_SEE_TO_THE_LAMP = (
    "First see why lamp and tent were not as the config has them (above): what follows takes them "
    "to be so."
)
_OF_THE_LAMP = ("little_rise", "heat_while_dark", "lit_out_of_hours")


class Advice(NamedTuple):
    """What to change.

    Attributes
    ----------
    suggestions : tuple of Suggestion
        Settings, the best first, then plans.
    note : str
        What no change would have helped, or what cannot be said, and why.
    tried : int
        How many changes were replayed.
    bias_k, bias_pct : float
        How far above the model the tent's readings are, taken as its sensors' error [K, %].
    error_k : float
        What is left between them beside that, root mean square [K].
    model : str
        Which model of the tent the replays went by, in words.
    first : str
        What a person has to see to before any change.
    """

    suggestions: tuple[Suggestion, ...] = ()
    note: str = ""
    tried: int = 0
    bias_k: float = 0.0
    bias_pct: float = 0.0
    error_k: float = 0.0
    model: str = ""
    first: str = ""


def advice_on(
    source: RecordSource, review: Review, progress: Callable[[float], None] = lambda _: None
) -> Advice:
    """Advice on a review of a record.

    Parameters
    ----------
    source : RecordSource
        The record, entered.
    review : Review
        Of its period.
    progress : callable
        Told now and then about which share of the work is done.
    """
    if not worth_asking(review) or len(review.period.days) > LONGEST_DAYS:
        return advise(review, None)
    days = read_days(source)
    expected = _expected_replays(days)
    return advise(review, what_if(source, days, lambda count: progress(count / expected)))


def _expected_replays(days: Days) -> int:
    """About how many replays of a day there will be at most, where one kind is asked about."""
    reviewed = len(days.reviewed) * (_MOST_CANDIDATES + 2)
    return reviewed + len(days.around) * (_MOST_JUDGED + 1)


def advise(review: Review, replays: WhatIf | None) -> Advice:
    """The changes that replays show to have helped, the best first; and what none would have.

    What was out of band and matters most is asked about first; the next, where nothing would have
    helped that.

    Parameters
    ----------
    review : Review
        Of the period.
    replays : WhatIf or None
        The days once more; None where there is no air to run them in.
    """
    kinds = worth_asking(review)
    if review.is_empty:
        return Advice()
    if not kinds:
        return Advice(note="Nothing: no quantity left its band for half an hour a day.")
    if len(review.period.days) > LONGEST_DAYS:
        return Advice(note=f"Not worked out for so long: ask for {LONGEST_DAYS} days at most.")
    if replays is None:
        return Advice(note=_no_intake(review))
    if not _is_the_tent(replays):
        units = review.settings.units
        errors = replays.errors
        off = display.temperature_difference(abs(errors.mean_k) + errors.spread_k, units)
        off_pct = abs(errors.mean_pct) + errors.spread_pct
        strays = (
            f"the simulated tent strays by {off} and {off_pct:.0f} % of humidity from the "
            "recorded one"
        )
        if review.deviations or review.fan_stalls:
            what = "the fan did not turn" if review.fan_stalls else "the tent was not as configured"
            find_out = f"First find out why {what} (above)"
            return Advice(note=f"{find_out}: {strays}, so that nothing can be tried on it.")
        return Advice(note=f"Nothing can be said: {strays}.")
    best, notes = _tried(review, kinds, replays)
    first = list(hold_notes(review, kinds, replays))
    if lacks_air(review, replays):
        first.append(_SEE_TO_THE_AIR)
    elif is_unlike_the_config(review):
        first.append(_SEE_TO_THE_LAMP)
    chosen = [
        *[suggestion for suggestion in best if not suggestion.change.is_plan][:_MOST_SAID],
        *[suggestion for suggestion in best if suggestion.change.is_plan][:_MOST_PLANS],
    ]
    errors = replays.errors
    return Advice(
        tuple(chosen),
        " ".join(notes),
        replays.count,
        errors.mean_k,
        errors.mean_pct,
        errors.spread_k,
        replays.days.model.words(review.period.zone),
        " ".join(first),
    )


def _no_intake(review: Review) -> str:
    """Why there is nothing to replay in."""
    if any(sensor.role == "intake" for sensor in review.settings.sensors):
        if review.quality.minutes_to_come:
            return "Not worked out yet: a day is replayed once nine tenths of it are recorded."
        return (
            "Nothing can be worked out: a day can be replayed where nine tenths of its intake air "
            "are known, and a stretch of days where nine tenths of them can; less was recorded."
        )
    return (
        "Nothing can be worked out without readings of the intake air: a sensor of the role intake "
        "gives them."
    )


def _is_the_tent(replays: WhatIf) -> bool:
    """Whether the simulated tent is the recorded one, but for what a sensor's error would do."""
    errors = replays.errors
    return (
        abs(errors.mean_k) <= _LARGEST_BIAS_K
        and abs(errors.mean_pct) <= _LARGEST_BIAS_PCT
        and errors.spread_k <= _LARGEST_ERROR_K
        and errors.spread_pct <= _LARGEST_ERROR_PCT
    )


def _held_min(review: Review) -> float:
    """How long a hold set the fan's speed [min]."""
    return sum(s.minutes for s in review.segments if s.rule == Rule.MANUAL_HOLD)


def hold_notes(review: Review, kinds: Sequence[Kind], replays: WhatIf) -> Iterator[str]:
    """What a hold did to the days: the replays as configured have none."""
    if _held_min(review) < _LEAST_OUT:
        return
    spared = []
    for kind in kinds:
        minutes, hours = review.figures.minutes_out(kind), review.figures.hours_out(kind)
        fewer = minutes - sum(day.minutes[kind] for day in replays.before)
        less = hours - sum(day.hours[kind] for day in replays.before)
        if weighted(kind, fewer, less) >= _LEAST_SHARE * weighted(kind, minutes, hours):
            amount = amount_words(kind, fewer, less, review.settings.units)
            spared.append(f"{amount} less {too_words(*kind)}")
    if spared:
        yield (
            f"The fan was held by hand for {hours_and_minutes(_held_min(review))}: left to the "
            f"config it would have been {' and '.join(spared)} (replayed). `lungwort release` ends "
            "a hold."
        )


def lacks_air(review: Review, replays: WhatIf) -> bool:
    """Whether for long the fan did not turn, or moved less than as configured in the replays.

    What that did to the tent would be taken there for its sensors' errors.
    """
    lacking = [d for d in review.deviations if d.kind == "less_air"]
    minutes = sum(deviation.minutes for deviation in lacking)
    minutes += sum(until_ms - from_ms for from_ms, until_ms in review.fan_stalls) / 60_000.0
    is_long = minutes >= _LEAST_OUT * len(review.period.days)
    return is_long and replays.days.model.learned is None


def is_unlike_the_config(review: Review) -> bool:
    """Whether for long the lamp was not lit, or the tent not closed, as the replays take it."""
    minutes = sum(d.minutes for d in review.deviations if d.kind in _OF_THE_LAMP)
    return minutes >= _LEAST_OUT * len(review.period.days)


def _tried(
    review: Review, kinds: Sequence[Kind], replays: WhatIf
) -> tuple[list[Suggestion], list[str]]:
    """What helps the first kind that anything helps; and what to say of the others."""
    in_vain: list[Kind] = []
    strayed: list[Kind] = []
    in_vain_count = 0
    best: list[Suggestion] = []
    for kind in kinds:
        if _strays(review, kind, replays):
            strayed.append(kind)
        elif best := _best(review, kind, replays):
            break
        else:
            in_vain.append(kind)
            in_vain_count = replays.count
    return best, list(_notes(review, kinds, in_vain, strayed, in_vain_count))


def _strays(review: Review, kind: Kind, replays: WhatIf) -> bool:
    """Whether the days as configured are out of band for quite another time than recorded.

    Where the fan was held by hand they may be: a replay has no hold.
    """
    if _held_min(review) >= _LEAST_OUT:
        return False
    recorded = review.figures.minutes_out(kind)
    replayed = sum(day.minutes[kind] for day in replays.before)
    few = LEAST_SAVED * len(review.period.days)
    return replayed > _SAME_TIMES * recorded + few or recorded > _SAME_TIMES * replayed + few


def _best(review: Review, kind: Kind, replays: WhatIf) -> list[Suggestion]:
    """What is worth saying of the changes that bear on a kind, one a key, the best first."""
    out = sum(weighted(kind, day.minutes[kind], day.hours[kind]) for day in replays.before)
    least = max(LEAST_SAVED * len(replays.before), _LEAST_SHARE * out)
    helpful = []
    for change in candidates(replays.days, kind):
        days = compared(replays.before, replays.reviewed(change))
        if is_worth_it(days, kind, least):
            helpful.append((net_gain_min(days), change, days))
    helpful.sort(key=lambda ranked: -ranked[0])
    best: dict[str, Suggestion] = {}
    judged = 0
    for _, change, days in helpful:
        # The milder step of a key has its turn where the longer one does harm on the other days.
        if change.key in best or judged == _MOST_JUDGED:
            continue
        judged += 1
        around = compared(replays.before_around, replays.around(change))
        if not is_harm([*days, *around]):
            best[change.key] = _suggestion(replays, kind, change, days, around)
    return sorted(best.values(), key=lambda suggestion: -_worth(suggestion))


def _worth(suggestion: Suggestion) -> float:
    """What suggestions are ranked by: weighted minutes saved a day over all days judged [min]."""
    return net_gain_min(suggestion.days) / len(suggestion.days)


def _suggestion(
    replays: WhatIf,
    kind: Kind,
    change: SettingChange,
    days: Sequence[DayChange],
    around: Sequence[DayChange],
) -> Suggestion:
    settings = replays.settings
    return Suggestion(
        change,
        kind,
        (*days, *around),
        len(days),
        settings.energy.price_per_kwh,
        Ducting.from_settings(settings).power_w() is not None,
    )


def _notes(
    review: Review,
    kinds: Sequence[Kind],
    in_vain: Sequence[Kind],
    strayed: Sequence[Kind],
    tried: int,
) -> Iterator[str]:
    """What no change would have helped, and what cannot be said."""
    if in_vain:
        names = " and ".join(too_words(*kind) for kind in in_vain)
        yield (
            f"{_capital(names)}: none of {tried} changes replayed would "
            "have cut a tenth of it without as much harm elsewhere or on the days around."
        )
    hot_min = review.figures.minutes_out(_TOO_HOT)
    if _TOO_HOT in kinds and _TOO_HOT not in strayed:
        intake_min = _hot_intake(review)
        if intake_min >= _INTAKE_SHARE * hot_min:
            yield (
                f"The intake air was hotter than the band for {hours_and_minutes(intake_min)}: no "
                "flow of such air can bring the tent into the band, only cooler air could."
            )
    if strayed:
        names = " and ".join(too_words(*kind) for kind in strayed)
        yield (
            f"Nothing is said of {names}: there the simulated tent strays from the recorded one."
        )


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def worth_asking(review: Review) -> list[Kind]:
    """What was out of band for long, what matters most first."""
    least = _LEAST_OUT * len(review.period.days)
    worst = worst_kind(review)
    first = None if worst is None else worst.kind
    kinds = [kind for kind in KINDS if review.figures.minutes_out(kind) >= least]
    kinds.sort(key=lambda kind: (kind != first, -review.figures.minutes_out(kind)))
    return kinds[:_MOST_KINDS]


def _hot_intake(review: Review) -> float:
    """How long it was too hot while the intake air was hotter than the band as well [min]."""
    return sum(
        cause.minutes
        for excursion in review.excursions
        for cause in excursion.causes
        if cause.code == "intake_too_hot"
    )
