"""What to change: each suggestion is a replay of the days under one changed setting.

Replay stands against replay: the recorded intake air goes into a simulated tent, once with the
config that was in force and once with one setting changed. What only the model says is left out:
there is no advice without intake readings, nor where the simulated tent strays from the recorded
one, nor for a change that would help one quantity and harm the others more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from controller import display
from controller.review.changes import Change, changes
from controller.review.conditions import KINDS, Kind
from controller.review.headline import worst_kind
from controller.review.replays import Replayed
from controller.review.trials import LONGEST_DAYS, Trials
from controller.review.words import minutes_words, too_words

if TYPE_CHECKING:
    from controller.review.build import Review

# What is worth asking about, and what is worth saying [min a day].
_LEAST_OUT = 30.0
_LEAST_SAVED = 10.0
_MOST_SAID = 3
_MOST_KINDS = 2
_LEAST_SHARE = 0.1
# How far the simulated tent's minutes out of band may be from the recorded ones to be believed.
_LARGEST_ERROR_SHARE = 0.25
# Intake air that was too hot for so much of the time leaves nothing to settings.
_INTAKE_SHARE = 0.9
_TOO_HOT = ("temperature", "above")
# How far the simulated tent may be from the recorded one (root mean square) to be believed.
_LARGEST_ERROR_K = 1.5
_LARGEST_ERROR_PCT = 8.0


class Suggestion(NamedTuple):
    """One change of the config and what it would have done.

    Attributes
    ----------
    key : str
        The config's key, such as ``schedule.lead``.
    was, to : str
        Its value and the one tried, in the user's units.
    quantity, side : str
        What it would have shortened.
    minutes_saved : float
        How much less of the period would have been out of band, replay against replay [min].
    fan_kwh_more : float or None
        What it would have cost in energy [kWh].
    model_error_k : float
        How far the simulated tent was from the recorded one, root mean square [K].
    worse : tuple of (str, str, float)
        Quantity and side that it would have kept out of band for longer, and by how much [min].
    """

    key: str
    was: str
    to: str
    quantity: str
    side: str
    minutes_saved: float
    fan_kwh_more: float | None
    model_error_k: float
    worse: tuple[tuple[str, str, float], ...] = ()

    def as_json(self) -> dict[str, Any]:
        """As it stands in the JSON document."""
        return {
            "key": self.key,
            "was": self.was,
            "to": self.to,
            "quantity": self.quantity,
            "side": self.side,
            "minutes_saved": round(self.minutes_saved, 1),
            "worse": [
                {"quantity": quantity, "side": side, "minutes_more": round(minutes, 1)}
                for quantity, side, minutes in self.worse
            ],
            "fan_kwh_more": None if self.fan_kwh_more is None else round(self.fan_kwh_more, 4),
            "model_error_k": round(self.model_error_k, 3),
        }


class Advice(NamedTuple):
    """What to change.

    Attributes
    ----------
    suggestions : tuple of Suggestion
        The best first.
    note : str
        What no change would have helped, or what cannot be said, and why.
    tried : int
        How many changes were replayed.
    """

    suggestions: tuple[Suggestion, ...] = ()
    note: str = ""
    tried: int = 0


def advise(review: Review, trials: Trials | None) -> Advice:
    """The changes that replays show to have helped, the best first; and what none would have.

    What was out of band and matters most is asked about first; the next, where nothing would have
    helped that.

    Parameters
    ----------
    review : Review
        Of the period.
    trials : Trials or None
        From `begin_trials`.
    """
    kinds = _worth_asking(review)
    if review.is_empty:
        return Advice()
    if not kinds:
        return Advice(note="Nothing: no quantity left its band for half an hour a day.")
    if len(review.period.days) > LONGEST_DAYS:
        return Advice(note=f"Not worked out for so long: ask for {LONGEST_DAYS} days at most.")
    if trials is None:
        return Advice(note=_no_intake(review))
    before = trials.before
    if before.error_k > _LARGEST_ERROR_K or before.error_pct > _LARGEST_ERROR_PCT:
        error = display.temperature_difference(before.error_k, review.settings.units)
        return Advice(
            note=f"Nothing that could be backed: the simulated tent strays by {error} and "
            f"{before.error_pct:.0f} % of humidity from the recorded one."
        )
    best, notes = _tried(review, kinds, trials)
    return Advice(tuple(best[:_MOST_SAID]), " ".join(notes), trials.count)


def _no_intake(review: Review) -> str:
    """Why there is nothing to replay in."""
    if any(sensor.role == "intake" for sensor in review.settings.sensors):
        return (
            "Nothing can be worked out: for a replay the intake air has to be known for nine "
            "tenths of the time, and less of it was recorded."
        )
    return (
        "Nothing can be worked out without readings of the intake air: a sensor of the role intake "
        "gives them."
    )


def _tried(
    review: Review, kinds: Sequence[Kind], trials: Trials
) -> tuple[list[Suggestion], list[str]]:
    """What helps the first kind that anything helps; and what to say of the others."""
    in_vain: list[Kind] = []
    strayed: list[Kind] = []
    hopeless: list[Kind] = []
    in_vain_count = 0
    best: list[Suggestion] = []
    for kind in kinds:
        recorded = _minutes(review, *kind)
        if abs(trials.before.out_min[kind] - recorded) > (
            _LARGEST_ERROR_SHARE * recorded + _LEAST_SAVED * len(review.period.days)
        ):
            strayed.append(kind)
        elif _is_hopeless(review, kind):
            hopeless.append(kind)
        elif best := _best(review, kind, trials):
            break
        else:
            in_vain.append(kind)
            in_vain_count = trials.count
    return best, list(_notes(review, hopeless, in_vain, strayed, in_vain_count))


def _best(review: Review, kind: Kind, trials: Trials) -> list[Suggestion]:
    """What is worth saying of the changes that bear on a kind, one a key, the best first."""
    least = _least_saved(review, kind)
    best: dict[str, Suggestion] = {}
    for change, after in trials.of(list(changes(trials.settings, *kind))).items():
        one = _compared(review, change, kind, trials, after)
        known = best.get(change.key)
        if one.minutes_saved < least or _harm(trials.before, after, one.minutes_saved):
            continue
        more = _LEAST_SAVED * len(review.period.days)
        if known is None or one.minutes_saved > known.minutes_saved + more:
            best[change.key] = one
    return sorted(best.values(), key=lambda one: -one.minutes_saved)


def _least_saved(review: Review, kind: Kind) -> float:
    """How much a change has to save to be worth saying [min]."""
    return max(_LEAST_SAVED * len(review.period.days), _LEAST_SHARE * _minutes(review, *kind))


def _notes(
    review: Review,
    hopeless: Sequence[Kind],
    in_vain: Sequence[Kind],
    strayed: Sequence[Kind],
    tried: int,
) -> Iterator[str]:
    """What no change would have helped, and what cannot be said."""
    for kind in hopeless:
        yield f"{_capital(too_words(*kind))}: {_intake_words(review)}"
    if in_vain:
        names = " and ".join(too_words(*kind) for kind in in_vain)
        yield (
            f"{_capital(names)}: none of {tried} changes replayed would "
            "have cut a tenth of it without as much harm elsewhere."
        )
        hot_min = _minutes(review, *_TOO_HOT)
        if _TOO_HOT in in_vain and _hot_intake(review) >= _INTAKE_SHARE * hot_min:
            yield _capital(_intake_words(review))
    if strayed:
        names = " and ".join(too_words(*kind) for kind in strayed)
        yield (
            f"Nothing is said of {names}: there the simulated tent strays from the recorded one."
        )


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _minutes(review: Review, quantity: str, side: str) -> float:
    """How long a quantity was recorded out of its band [min]."""
    minutes: float = getattr(getattr(review.figures, quantity).minutes, side)
    return minutes


def _worth_asking(review: Review) -> list[Kind]:
    """What was out of band for long, what matters most first."""
    least = _LEAST_OUT * len(review.period.days)
    worst = worst_kind(review)
    first = None if worst is None else worst[:2]
    found = [kind for kind in KINDS if _minutes(review, *kind) >= least]
    found.sort(key=lambda kind: (kind != first, -_minutes(review, *kind)))
    return found[:_MOST_KINDS]


def _hot_intake(review: Review) -> float:
    """How long it was too hot while the intake air was hotter than the band as well [min]."""
    return sum(
        cause.minutes
        for spell in review.spells
        for cause in spell.causes
        if cause.code == "intake_too_hot"
    )


def _is_hopeless(review: Review, kind: Kind) -> bool:
    """Whether what was too hot in cooler intake air is too little to be worth a replay.

    Half of the least worth saying: the rest is for what a tent cooled beforehand would keep off.
    """
    rest = _minutes(review, *kind) - _hot_intake(review)
    return kind == _TOO_HOT and rest < 0.5 * _least_saved(review, kind)


def _intake_words(review: Review) -> str:
    """What the record itself shows to be the only way."""
    return (
        f"the intake air was hotter than the band for {minutes_words(_hot_intake(review))}: no "
        "flow of such air can bring the tent into the band, cooler intake air can."
    )


def _compared(
    review: Review, change: Change, kind: Kind, trials: Trials, after: Replayed
) -> Suggestion:
    """What a change did, replay against replay."""
    before = trials.before
    more = after.fan_kwh - before.fan_kwh
    worse = [
        (*other, after.out_min[other] - before.out_min[other]) for other in KINDS if other != kind
    ]
    return Suggestion(
        change.key, change.was, change.to, *kind,
        before.out_min[kind] - after.out_min[kind],
        None if trials.settings.fan.power_w is None else more, before.error_k,
        tuple(one for one in worse if one[2] >= _LEAST_SAVED * len(review.period.days)),
    )  # fmt: skip


def _harm(before: Replayed, after: Replayed, saved: float) -> bool:
    """Whether more than half of what was saved is lost again elsewhere."""
    return sum(before.out_min.values()) - sum(after.out_min.values()) < 0.5 * saved


def advice_words(review: Review, advice: Advice) -> list[str]:
    """What no change would have helped and why, then what to change."""
    found = [suggestion_words(review, one) for one in advice.suggestions]
    return ([advice.note] if advice.note else []) + found


def suggestion_words(review: Review, one: Suggestion) -> str:
    """Such as "schedule.lead 15 min → 40 min would have cut 50 min of too hot"."""
    text = (
        f"{one.key} {one.was} → {one.to} would have cut {minutes_words(one.minutes_saved)} of "
        f"{too_words(one.quantity, one.side)}"
    )
    if one.fan_kwh_more is not None and abs(one.fan_kwh_more) >= 0.005:
        way = "more" if one.fan_kwh_more > 0 else "less"
        text += f", for {display.energy(abs(one.fan_kwh_more))} {way} of fan energy"
    if one.worse:
        prices = [f"{minutes_words(more)} more of {too_words(*kind)}" for *kind, more in one.worse]
        text += f", at the price of {' and '.join(prices)}"
    error = display.temperature_difference(one.model_error_k, review.settings.units)
    return f"{text} (replayed; the model is within {error} of the record)"
