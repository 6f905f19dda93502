"""What to change, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from controller import display
from controller.display import hours_and_minutes
from controller.review.changes import MORE_AIR
from controller.review.period import short_date
from controller.review.phrases import amount_words, excess_words, too_words
from controller.review.plans import BIGGER_FAN, COOLER_INTAKE

if TYPE_CHECKING:
    from controller.display import Units
    from controller.review.advice import Advice
    from controller.review.compare import DayChange
    from controller.review.report import Review
    from controller.review.suggestion import Suggestion

# What is too little to be worth a word.
_LEAST_K, _LEAST_KWH, _LEAST_MIN = 0.1, 0.005, 1.0
# A peak that more air makes higher, on a day when the intake was hotter than the tent, is news if
# it is by so much [K].
_LEAST_K_OF_MORE_AIR = 0.5


def advice_words(review: Review, advice: Advice) -> list[str]:
    """What to change, the best first; what no change would have helped; how it was found out."""
    units = review.settings.units
    sentences = [advice.first] if advice.first else []
    sentences += [suggestion_words(review, suggestion) for suggestion in advice.suggestions]
    if advice.note:
        sentences.append(advice.note)
    if advice.suggestions:
        sentences.append(_how(advice, units))
    return sentences


def suggestion_words(review: Review, suggestion: Suggestion) -> str:
    """Such as "schedule.pre_run 15 min → 40 min: 50 min less too hot; better on 9 of 11 days"."""
    parts = [f"{_what(suggestion)}: {_gain(review, suggestion)}{_energy(review, suggestion)}"]
    parts += _prices(review, suggestion)
    parts.append(days_words(review, suggestion))
    parts += _cautions(review, suggestion)
    return "; ".join(parts)


def _what(suggestion: Suggestion) -> str:
    change = suggestion.change
    if change.key == COOLER_INTAKE:
        return (
            f"A plan, intake air {change.to} (as from a cooler room; assumed, not measured, as "
            "moist as now)"
        )
    if change.key == BIGGER_FAN:
        return (
            f"A plan, a fan of {change.to} free flow instead of {change.was} (the flow that "
            "lungwort size asks for)"
        )
    return f"{change.key} {change.was} → {change.to}"


def _gain(review: Review, suggestion: Suggestion) -> str:
    """What it is good for, by time and by distance from the band."""
    units = review.settings.units
    saved = suggestion.minutes_saved, suggestion.hours_saved
    text = f"{amount_words(suggestion.kind, *saved, units)} less "
    text += too_words(*suggestion.kind)
    if suggestion.kind == ("temperature", "above") and suggestion.peak_more_k <= -_LEAST_K:
        lower = display.temperature_difference(-suggestion.peak_more_k, units)
        text += f", the peak {lower} lower"
    return text


def _energy(review: Review, suggestion: Suggestion) -> str:
    """What it takes or saves, by the config's price."""
    kwh = (suggestion.fan_kwh_more or 0.0) + suggestion.lamp_kwh_more
    if suggestion.fan_kwh_more is None:
        return " (at what energy is not known: the config gives neither the fan's power nor flow)"
    if abs(kwh) < _LEAST_KWH:
        return ""
    cost = ""
    if suggestion.cost_more is not None:
        cost = f" ({display.money(abs(suggestion.cost_more), review.settings.energy.currency)})"
    return f", for {display.energy(abs(kwh))}{cost} {'more' if kwh > 0.0 else 'less'}"


def _prices(review: Review, suggestion: Suggestion) -> Iterator[str]:
    """What gets worse for it: other quantities, and the peak."""
    units = review.settings.units
    worse = [
        f"{amount_words(kind, minutes, hours, units)} more of {too_words(*kind)}"
        for kind, minutes, hours in suggestion.worse
    ]
    if worse:
        yield f"at the price of {' and '.join(worse)}"
    least_k = _LEAST_K_OF_MORE_AIR if suggestion.kind in MORE_AIR else _LEAST_K
    if suggestion.highest_peak_more_k >= least_k:
        most = max(suggestion.days, key=lambda day: day.peak_more_k)
        higher = display.temperature_difference(most.peak_more_k, units)
        yield f"the peak up to {higher} higher{_on(suggestion, most)}"


def days_words(review: Review, suggestion: Suggestion) -> str:
    """Such as "better on 9 of 11 days, worse on 1, at worst +20 min (Tue 16 Jul)"."""
    if len(suggestion.days) == 1:
        return "no other day is recorded to judge it on"
    if suggestion.days_better == len(suggestion.days):
        return f"better on all {len(suggestion.days)} days judged"
    text = f"better on {suggestion.days_better} of {len(suggestion.days)} days judged"
    if not suggestion.days_worse:
        return f"{text}, worse on none"
    worst = suggestion.worst_day
    harm = _harm_words(worst, review.settings.units)
    return f"{text}, worse on {suggestion.days_worse}, at worst {harm}{_on(suggestion, worst)}"


def _harm_words(day: DayChange, units: Units) -> str:
    """How much worse a day is: by time, or by the quantity that is further out for no longer."""
    if day.out_more_min >= _LEAST_MIN:
        return f"+{hours_and_minutes(day.out_more_min)}"
    kind = max(day.hours_more, key=day.weighted_more)
    return f"+{excess_words(kind[0], day.hours_more[kind], units)} {too_words(*kind)}"


def _on(suggestion: Suggestion, day: DayChange) -> str:
    return f" ({' '.join(short_date(day.date).split())})" if len(suggestion.days) > 1 else ""


def _cautions(review: Review, suggestion: Suggestion) -> Iterator[str]:
    light = suggestion.light
    if light is None:
        return
    yield (
        f"daily light integral about {light.best:.0f} mol/m² ({light.low:.0f} to "
        f"{light.high:.0f}, estimated)"
    )
    text = "check that your crop's flowering allows it"
    if review.settings.lamp.switched_by != "relay":
        text += ", and set the lamp's own timer as well"
    yield text


def _how(advice: Advice, units: Units) -> str:
    """How the suggestions were found out, and how far the model can be trusted."""
    text = f"Replayed, each against the days as configured ({advice.tried} changes tried)"
    if advice.model:
        text += f", on {advice.model}"
    days = max(len(suggestion.days) for suggestion in advice.suggestions)
    if days > 1:
        text += "; days are judged by temperature, humidity and VPD added up"
    biases = []
    if abs(advice.bias_k) >= _LEAST_K:
        biases.append(_above(display.temperature_difference(abs(advice.bias_k), units),
                             advice.bias_k))  # fmt: skip
    if abs(advice.bias_pct) >= 1.0:
        biases.append(_above(f"{abs(advice.bias_pct):.0f} % of humidity", advice.bias_pct))
    error = display.temperature_difference(advice.error_k, units)
    if biases:
        return (
            f"{text}. The tent's readings are {' and '.join(biases)} the model's air, taken as the "
            f"sensor's error; beside that they are within {error}."
        )
    return f"{text}. The model is within {error} of the record."


def _above(amount: str, value: float) -> str:
    return f"{amount} {'above' if value > 0.0 else 'below'}"
