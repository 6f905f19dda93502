"""The headline: what happened in one sentence, with its main reason."""

from __future__ import annotations

from controller import display
from controller.review.build import Review
from controller.review.causes import Cause
from controller.review.period import date_in_words
from controller.review.words import (
    KINDS,
    NAMES,
    minutes_words,
    period_words,
    too_words,
    value_words,
)

# The order in which a headline looks for its reason, and the share of the time a reason must have
# held to be named there.
_TELLING = (
    *("fan_not_turning", "held_by_hand", "sensor_missing", "intake_too_hot", "intake_too_cold"),
    *("intake_too_wet", "intake_too_dry", "lamp_heat", "fan_at_full_speed", "window_shut"),
    *("minimum_off_time", "override_delay"),
)
_TELLING_SHARE = 0.25


def headline(review: Review) -> str:
    """What happened, in one sentence."""
    day = review.period.days[0].date
    is_other_year = day.year != review.period.local(review.now_ms).year
    opening = date_in_words(day, year=is_other_year)
    if not review.is_one_day:
        opening = period_words(review)
    if review.is_empty:
        return f"{opening}: {_nothing(review)}"
    figures = review.figures
    temperature = figures.temperature
    said = []
    if temperature.highest is not None and temperature.highest_ms is not None:
        value = value_words("temperature", temperature.highest, review.settings.units)
        preposition = "at" if review.is_one_day else "on"
        said.append(f"{value} {preposition} {review.period.when(temperature.highest_ms)}")
    worst = worst_kind(review)
    if worst is None:
        known = figures.temperature.minutes
        if known.all - known.missing > 0:
            said.append("in band throughout" if known.missing < 1 else "in band as far as recorded")
        return f"{opening}: {', '.join(said) or 'nothing that can be trusted was measured'}"
    quantity, side, minutes = worst
    if quantity != "temperature":
        of = getattr(figures, quantity)
        extreme = of.highest if side == "above" else of.lowest
        said.append(f"{NAMES[quantity].lower() if quantity != 'vpd' else 'VPD'} "
                    f"{value_words(quantity, extreme, review.settings.units)}")  # fmt: skip
    said.append(f"{minutes_words(minutes)} {too_words(quantity, side)}")
    if not review.is_one_day:
        count = sum(getattr(getattr(f, quantity).minutes, side) >= 1.0 for f in review.counted.days)
        said[-1] += f" on {count} of {len(review.period.days)} days"
    text = f"{opening}: {', '.join(said)}"
    reason = main_reason(review, quantity, side)
    return f"{text}; {reason}" if reason else text


def _nothing(review: Review) -> str:
    begins = review.quality.record_begins_ms
    if begins is None:
        return "the record has no readings yet"
    if begins >= review.period.end_ms:
        return f"no readings; the record begins on {review.period.local(begins):%Y-%m-%d}"
    return "no readings in the record"


def worst_kind(review: Review) -> tuple[str, str, float] | None:
    """What was out of band: temperature first, then whatever lasted longest."""
    for side in ("above", "below"):
        minutes = getattr(review.figures.temperature.minutes, side)
        if minutes >= 1.0 and (side == "above" or minutes >= 30.0):
            return "temperature", side, minutes
    kinds = [
        (getattr(getattr(review.figures, quantity).minutes, side), quantity, side)
        for quantity in ("temperature", "humidity", "vpd")
        for side in ("above", "below")
    ]
    minutes, quantity, side = max(kinds)
    return (quantity, side, minutes) if minutes >= 1.0 else None


def causes_of(review: Review, quantity: str, side: str) -> tuple[list[Cause], float]:
    """The causes of all spells of a kind, each added up, and the spells' length [min]."""
    spells = [one for one in review.spells if (one.quantity, one.side) == (quantity, side)]
    whole = sum((one.end_ms - one.start_ms) / 60_000.0 for one in spells)
    by_code: dict[str, Cause] = {}
    for spell in spells:
        for cause in spell.causes:
            known = by_code.get(cause.code)
            if known is None:
                by_code[cause.code] = cause
                continue
            values = [v for v in (known.value, cause.value) if v is not None]
            by_code[cause.code] = Cause(
                cause.code,
                known.minutes + cause.minutes,
                min(known.since_ms, cause.since_ms),
                max(known.until_ms, cause.until_ms),
                max(values) if values else None,
            )
    return sorted(by_code.values(), key=lambda one: -one.minutes), whole


def main_reason(review: Review, quantity: str, side: str) -> str | None:
    """The clause after the semicolon: the first telling cause that held for long enough."""
    causes, whole = causes_of(review, quantity, side)
    by_code = {cause.code: cause for cause in causes if cause.code in _TELLING}
    longest = max((cause.minutes for cause in by_code.values()), default=0.0)
    for code in _TELLING:
        cause = by_code.get(code)
        if cause is not None and cause.minutes >= max(_TELLING_SHARE * whole, 0.5 * longest):
            return _clause(review, cause)
    return None


def _clause(review: Review, cause: Cause) -> str:
    since = ""
    if review.is_one_day and cause.since_ms > review.period.start_ms:
        since = f" from {review.period.clock(cause.since_ms)}"
    elif not review.is_one_day:
        since = f" for {minutes_words(cause.minutes)} of it"
    clauses = {
        "fan_not_turning": f"the fan was commanded but did not turn{since}",
        "held_by_hand": f"the fan was held by hand{since}",
        "sensor_missing": f"there was no trustworthy reading{since}",
        "intake_too_hot": f"the intake air was hotter than the band{since}, "
        "so more air could not have helped",
        "intake_too_cold": f"the intake air was colder than the band{since}",
        "intake_too_wet": f"the intake air was too moist{since}, so more air could not have helped",
        "intake_too_dry": f"the intake air was too dry for the band{since}",
        "lamp_heat": f"the lamp gives more heat than full flow can carry off at that intake "
        f"temperature{since}",
        "window_shut": f"the schedule's window was shut{since}",
        "fan_at_full_speed": f"the fan was already at full speed{since}",
        "minimum_off_time": "the fan waited out its minimum off time",
        "override_delay": "the override waited out its delay",
    }
    return clauses[cause.code]


def also(review: Review) -> list[str]:
    """What else a grower should know of the day: one sentence each, the headline's left out."""
    said = worst_kind(review)
    found = []
    for quantity, side in KINDS:
        minutes = getattr(getattr(review.figures, quantity).minutes, side)
        if said is not None and (quantity, side) == said[:2]:
            continue
        if minutes < 15.0 * len(review.period.days):
            continue
        of = getattr(review.figures, quantity)
        extreme = of.highest if side == "above" else of.lowest
        reason = main_reason(review, quantity, side)
        text = too_words(quantity, side)
        found.append(
            f"{text[0].upper()}{text[1:]} for {minutes_words(minutes)} "
            f"({value_words(quantity, extreme, review.settings.units)})"
            + (f"; {reason}." if reason else ".")
        )
    warning = review.figures.minutes_above_warning
    if warning >= 1.0:
        limit = display.temperature(review.settings.targets.heat_warning_c, review.settings.units)
        found.append(
            f"Above the heat warning of {limit} for {minutes_words(warning)}: "
            "flowers begin to drop."
        )
    return found
