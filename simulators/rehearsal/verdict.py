"""Whether a rehearsed tent is fit, and what limits it: only what the run shows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from controller import display
from controller.airflow import Ducting
from controller.display import hours_and_minutes
from controller.review.phrases import excess_words
from simulators.rehearsal.counts import QUANTITIES
from simulators.rehearsal.fan_trial import FACTORS, FanTrial, is_enough
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.summary import TOO_WORDS
from simulators.rehearsal.troubles import SMALL_SHARE, Trouble, troubles

if TYPE_CHECKING:
    from controller.config import Settings

# Of what is not the room's own, full speed must take away so much for the speeds to be to blame
# (engineering judgement, no source).
_SHARE_BY_SPEED = 0.5
# What is wrong with a room in which nothing comes of more of its air.
_ROOM_WORDS = {
    ("temperature", "above"): (
        "hotter than",
        "no fan can hold the band then; cooler intake air would",
    ),
    ("temperature", "below"): ("colder than", "its air only cools the tent"),
    ("humidity", "above"): ("more humid than", "its air alone can't dry the tent so far"),
    ("humidity", "below"): ("drier than", "its air only dries the tent"),
}


class TentVerdict(NamedTuple):
    """A verdict in words, and the figures it rests on."""

    sentences: tuple[str, ...]
    is_fit: bool
    troubles: tuple[Trouble, ...]
    trial: FanTrial | None = None

    @property
    def text(self) -> str:
        """The sentences in a row."""
        return " ".join(self.sentences)

    def to_json(self) -> dict[str, Any]:
        """As `lungwort rehearse --json` gives it."""
        trial = self.trial
        return {
            "text": self.text,
            "fit": self.is_fit,
            "out_of_band": [
                {
                    "quantity": trouble.quantity,
                    "side": trouble.side,
                    "when": trouble.when.split()[-1] if trouble.when else "always",
                    "minutes": round(trouble.out_min, 3),
                    "of_minutes": round(trouble.total_min, 3),
                    "intake_minutes": round(trouble.intake_min, 3),
                    "minutes_with_intake": round(trouble.both_min, 3),
                    "at_full_speed_minutes": None
                    if trial is None
                    else round(trouble.again(trial.full), 3),
                }
                for trouble in self.troubles
            ],
            "stronger_fan_factor": None if trial is None else trial.factor,
        }


def verdict(outcome: Outcome, settings: Settings, trial: FanTrial | None = None) -> TentVerdict:
    """Say whether a tent is fit on the days of a run, and what limits it.

    Parameters
    ----------
    outcome : Outcome
        Of the run.
    settings : Settings
        The tent's.
    trial : FanTrial or None
        What a fan can do at most; without it nothing is said of that.
    """
    all_troubles = troubles(outcome)
    lit_min = outcome.day["temperature"].total
    is_cut = outcome.lamp_cut_min > SMALL_SHARE * lit_min
    if is_cut:
        # Hours in which heat had the lamp cut say nothing of the fan: the cut cools the tent.
        cut = _lamp_cut_sentence(outcome.lamp_cut_min, lit_min, settings, trial)
        rest = "; ".join(map(_rest_words, all_troubles))
        sentences = [cut, f"{rest[0].upper()}{rest[1:]}."] if rest else [cut]
        return TentVerdict(tuple(sentences), False, all_troubles, trial)
    if not all_troubles:
        least = min(
            phase[name].share_within
            for phase in (outcome.day, outcome.night)
            for name in QUANTITIES
            if phase[name].total
        )
        share = "all the time" if least > 0.995 else f"for {least:.0%} of the hours or more"
        sentence = (
            "The tent is fit on these days: temperature, humidity and VPD are each in band "
            f"{share}, lit and dark."
        )
        return TentVerdict((sentence,), True, ())
    # The first is what limits, the others are what would be left.
    sentences = [_sentence(all_troubles[0], settings, trial)]
    if len(all_troubles) > 1:
        sentences.append(f"Next: {'; '.join(map(_rest_words, all_troubles[1:]))}.")
    return TentVerdict(tuple(sentences), False, all_troubles, trial)


def _hours_of_all(minutes: float, trouble: Trouble) -> str:
    """Such as "142 of 168 h"."""
    hours = {" by day": " lit hours", " at night": " dark hours"}.get(trouble.when, " hours")
    return f"{_count(minutes)} of {_count(trouble.total_min)}{hours}"


def _count(minutes: float) -> str:
    hours = minutes / 60.0
    return f"{hours:.1f}".removesuffix(".0") if hours < 9.95 else f"{hours:.0f}"


def _lamp_cut_sentence(
    cut_min: float, lit_min: float, settings: Settings, trial: FanTrial | None
) -> str:
    words = f"The lamp was cut for heat for {_count(cut_min)} of {_count(lit_min)} lit hours"
    if trial is None:
        return f"{words}."
    after_min, factor = trial.stronger.lamp_cut_min, trial.factor or FACTORS[-1]
    is_weak = after_min <= (1.0 - _SHARE_BY_SPEED) * cut_min
    with_more = f"with {factor:g} times as much air for {_left(after_min)}"
    return f"{words}, {with_more}: {_fan(settings) if is_weak else 'the lamp'} is too " + (
        "weak." if is_weak else "strong for this tent and room."
    )


def _sentence(trouble: Trouble, settings: Settings, trial: FanTrial | None) -> str:
    key = (trouble.quantity, trouble.side)
    if trouble.is_of_the_intake and key in _ROOM_WORDS:
        how, end = _ROOM_WORDS[key]
        return (
            f"The room is {how} the band for {_hours_of_all(trouble.intake_min, trouble)}: {end}."
        )
    words = TOO_WORDS[trouble.quantity][trouble.side == "above"]
    start = f"{words[0].upper()}{words[1:]} for {_hours_of_all(trouble.out_min, trouble)}"
    says_fan = trial is not None and trouble.side == "above" and trouble.quantity != "vpd"
    if key in _ROOM_WORDS and trouble.both_min >= 0.5 * trouble.out_min:
        how, end = _ROOM_WORDS[key]
        room = f"{start}. In {_count(trouble.both_min)} of them the room is {how} the band"
        if trouble.is_of_both:
            room += ", but the tent is further above the room than the room above the band"
            if trial is None or not says_fan:
                return f"{room}."
            return f"{room}: {_own_excess_words(trouble, settings, trial)}."
        room += f": {end}."
        if trial is None or not says_fan:
            return room
        words = _fan_words(trouble, settings, trial, beyond_min=trouble.both_min)
        return f"{room} In the other hours, {words}."
    if key in _ROOM_WORDS and trouble.both_min >= 30.0:
        start += f", {_count(trouble.both_min)} of them with a room that is so itself"
    if trial is None or not says_fan:
        return f"{start}."
    return f"{start}: {_fan_words(trouble, settings, trial)}."


def _own_excess_words(trouble: Trouble, settings: Settings, trial: FanTrial) -> str:
    """What more air would leave of how far a tent is above its band, beyond its room's own."""
    before = max(0.0, trouble.excess - trouble.intake_excess)
    after, strong = (trouble.own_excess(run) for run in (trial.full, trial.stronger))
    own, full, stronger = (
        excess_words(trouble.quantity, excess, settings.units) for excess in (before, after, strong)
    )
    if after <= (1.0 - _SHARE_BY_SPEED) * before:
        return (
            f"of {own} more than the room's, at full speed all the time this fan would leave "
            f"{full}, so {_speeds(settings)} are what limits the tent"
        )
    judgement = trial.judgement(trouble)
    start, it = (f"{_fan(settings)} is {judgement}; ", "it") if judgement else ("", _fan(settings))
    return (
        f"{start}of {own} more than the room's {it} would leave {full} at "
        f"full speed all the time, {display.flow(trial.flow_m3_s, settings.units)}, and "
        f"{FACTORS[-1]:g} times as much air {stronger}"
    )


def _fan_words(
    trouble: Trouble, settings: Settings, trial: FanTrial, *, beyond_min: float = 0.0
) -> str:
    """What more air would leave of a trouble, beyond the minutes that are the room's own."""
    full, strong = (
        _left(max(0.0, trouble.again(run) - beyond_min)) for run in (trial.full, trial.stronger)
    )
    if is_enough(trouble, trial.full):
        start = "at full speed all the time this fan would"
        gain_min = trouble.out_min - trouble.again(trial.full)
        if gain_min >= _SHARE_BY_SPEED * (trouble.out_min - trouble.both_min):
            return f"{start} leave {full}, so {_speeds(settings)} are what limits the tent"
        return f"{start} still leave {full}, so its speeds are not what limits the tent"
    flow = display.flow(trial.flow_m3_s, settings.units)
    start = f"at full speed all the time it moves {flow} and would leave {full}"
    if trial.factor is not None:
        return f"{_fan(settings)} is too weak; {start}, {trial.factor:g} times as much air {strong}"
    judgement = trial.judgement(trouble)
    start = f"{_fan(settings)} is {judgement}; {start}" if judgement else start
    return f"{start}, {FACTORS[-1]:g} times as much air still {strong}"


def _fan(settings: Settings) -> str:
    """Of a fan whose figures nobody gave nothing is known but what is assumed."""
    return "the fan" if Ducting.from_settings(settings).has_fan else "a fan as is assumed"


def _speeds(settings: Settings) -> str:
    return "its speeds" if settings.quiet is None else "its speeds, with its quiet hours,"


def _left(minutes: float) -> str:
    if minutes < 0.5:
        return "none of it"
    return f"{_count(minutes)} h" if minutes >= 60.0 else hours_and_minutes(minutes)


def _rest_words(trouble: Trouble) -> str:
    what = TOO_WORDS[trouble.quantity][trouble.side == "above"]
    words = f"{what} for {_hours_of_all(trouble.out_min, trouble)}"
    if trouble.is_of_the_intake and (trouble.quantity, trouble.side) in _ROOM_WORDS:
        words += ", as the room's own air is"
    return words
