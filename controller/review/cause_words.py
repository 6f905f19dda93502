"""What a review found, in plain words and the user's units."""

from __future__ import annotations

from collections.abc import Sequence

from controller import display
from controller.display import Units
from controller.review.cause_conditions import Kind
from controller.review.causes import Cause
from controller.review.excursions import Spell
from controller.review.overrides import Override
from controller.review.period import date_in_words
from controller.review.report import Review
from controller.review.views.deviation_words import (
    deviation_figures,
    stronger_fan_words,
    swing_words,
)
from controller.wording import rule_words

NAMES = {"temperature": "Temperature", "humidity": "Humidity", "vpd": "VPD"}
_TOO: dict[Kind, str] = {
    ("temperature", "above"): "too hot",
    ("temperature", "below"): "too cold",
    ("humidity", "above"): "too humid",
    ("humidity", "below"): "too dry",
    ("vpd", "above"): "VPD too high",
    ("vpd", "below"): "VPD too low",
}
SIMULATED = "A simulation wrote this record: no real tent stands behind it."
NO_CAUSE = "nothing in the record says why"


def value_words(quantity: str, value: float | None, units: Units) -> str:
    """A temperature, humidity or VPD in the user's units; a dash for none."""
    if value is None:
        return "–"
    if quantity == "temperature":
        return display.temperature(value, units)
    return display.humidity(value) if quantity == "humidity" else display.vpd(value)


def minutes_words(minutes: float) -> str:
    """A length [min] in hours and minutes, also past a day: "54 h 10 min", "812 h"."""
    whole = round(minutes)
    if whole < 1:
        return "0 min" if minutes <= 0.0 else "under 1 min"
    if whole < 60:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest and hours < 100 else f"{hours + (rest >= 30)} h"


def missing_words(review: Review) -> str:
    """What the minutes without a value are: of a day that is not over, also those ahead."""
    return "none or ahead" if review.quality.minutes_to_come >= 1.0 else "missing"


def counted(number: int, noun: str) -> str:
    """Such as "1 start" and "2 starts"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def degree_hours_words(k_h: float, units: Units) -> str:
    """Degree-hours in the user's degrees."""
    return f"{k_h * 1.8:.1f} °F h" if units == "us" else f"{k_h:.1f} K h"


def light_words(review: Review) -> str | None:
    """The daily light integral, marked as the estimate it is."""
    light = review.figures.daily_light
    if light is None:
        return None
    return (
        f"Daily light integral: about {light.best:.0f} mol/m² "
        f"({light.low:.0f} to {light.high:.0f}; estimated from the lamp's power)"
    )


def too_words(quantity: str, side: str) -> str:
    """Such as "too hot"."""
    return _TOO[quantity, side]


def period_words(review: Review) -> str:
    """The period in words: "Thursday 18 July 2013", or its first and last day."""
    days = review.period.days
    if len(days) == 1:
        return date_in_words(days[0].date, year=True)
    first, last = days[0].date, days[-1].date
    return (
        f"{date_in_words(first, year=first.year != last.year)} to {date_in_words(last, year=True)}"
    )


def cause_words(review: Review, cause: Cause, spells: Sequence[Spell]) -> str:
    """One cause of a spell, or of several alike, with its numbers."""
    units = review.settings.units
    minutes = minutes_words(cause.minutes)
    value = cause.value
    rise = "" if value is None else display.temperature_difference(value, units)
    temperature = "" if value is None else display.temperature(value, units)
    is_one = len(spells) == 1
    # What several spells have in common held now and then: no span, and "in all".
    span = f" ({review.period.span(cause.since_ms, cause.until_ms)})" if is_one else ""
    way = "down" if cause.code == "intake_too_cold" else "up"
    extreme = "" if value is None else f", {way} to {temperature}"
    minutes += "" if is_one else " in all"
    is_beside = is_one and not spells[0].covers(cause)
    by = "" if value is None else f" of {display.duration(value)}"
    texts = {
        "intake_too_hot": f"intake air hotter than the band for {minutes}{span}{extreme}",
        "intake_too_cold": f"intake air colder than the band for {minutes}{span}{extreme}",
        "intake_too_wet": f"intake air too moist to help for {minutes}{span}",
        "intake_too_dry": f"intake air too dry to help for {minutes}{span}",
        "fan_at_full_speed": f"fan already commanded to full speed for {minutes}",
        "fan_below_full_speed": f"override ran the fan below full speed for {minutes}",
        "fan_slowed": f"fan already slowed or at rest for {minutes}",
        "too_hot_meanwhile": f"too hot as well for {minutes}: less air would be hotter and drier",
        "kept_running_for_damp": f"fan run against damp for {minutes}",
        "purge": f"purge for {minutes}",
        "override_delay": f"override delayed {minutes} by its own delay{by}",
        "minimum_off_time": f"fan waited {minutes} for its minimum off time{by}",
        "outside_fan_hours": f"outside the fan hours for {minutes}",
        "sensor_missing": (
            f"just before or after it no trustworthy reading for {minutes}{span}"
            if is_beside
            else f"no trustworthy reading for {minutes}{span}"
        ),
        "fan_not_turning": f"fan commanded but not turning for {minutes}{span}",
        "lamp_heat": f"lamp heat beyond what full flow carries for {minutes}"
        + (f" (lifts the tent {rise} above its intake)" if rise else "")
        + stronger_fan_words(review, cause),
        "less_air_than_expected": f"less air than the fan should move, or more heat than the "
        f"config says, for {minutes}{span}: {deviation_figures(cause, units)}",
        "tent_open_or_lamp_dark": f"tent open, or lamp dark or dimmed, for {minutes}{span}: "
        f"{deviation_figures(cause, units)}",
        "heat_while_dark": f"tent heated while its lamp should be dark for {minutes}{span}: "
        f"{deviation_figures(cause, units)}",
        "lamp_lit_out_of_hours": f"lamp lit out of its hours for {minutes}{span}",
        "band_narrower_than_swing": swing_words(review, cause, spells),
        "held_by_hand": f"fan held by hand for {minutes}{span}",
        "override_locked_out": f"override locked out for {minutes}: outside air can't help",
        "config_changed": f"config changed at {review.period.when(cause.since_ms)}",
    }
    return texts.get(cause.code, cause.code.replace("_", " "))


def spell_words(review: Review, spell: Spell) -> str:
    """One spell without its causes: "12:10–17:20 too hot, 5 h 10 min, up to 31.4 °C"."""
    period, units = review.period, review.settings.units
    way = "up to" if spell.side == "above" else "down to"
    return (
        f"{period.span(spell.start_ms, spell.end_ms)} {too_words(spell.quantity, spell.side)}, "
        f"{minutes_words(spell.minutes)}, {way} {value_words(spell.quantity, spell.extreme, units)}"
    )


def override_reason(review: Review, override: Override) -> str:
    """Why it engaged: "too hot: 24.6 °C, limit 23.9 °C"."""
    from controller.wording import reason_words

    reason: dict[str, object] = {
        "rule": override.rule,
        "status": "released",
        "quantity": override.quantity,
        "value": override.value,
        "limit": override.limit,
        "unit": override.unit,
    }
    if override.value is None:
        return rule_words(override.rule)
    return reason_words(reason, review.settings.units)


def _interval_s(review: Review, at_ms: float) -> float:
    """How long a reading was at an instant, by the config in force then [s]."""
    ids = (hour.config_id for hour in review.hours if hour.start_ms <= at_ms < hour.end_ms)
    return review.terms.of(next(ids, None)).settings.record.interval_s


def override_effect(review: Review, override: Override) -> str:
    """What became of the quantity meanwhile."""
    quantity = "temperature" if override.quantity == "dew_point" else override.quantity
    units = review.settings.units
    if override.before is None or override.after is None:
        return "no reading"
    noun = {"dew_point": "dew point ", "humidity": "", "vpd": ""}.get(override.quantity, "")
    text = (
        f"{noun}{value_words(quantity, override.before, units)} → "
        f"{value_words(quantity, override.after, units)}"
    )
    # A reading bears the rule that ruled longest: an override no longer than two readings may have
    # been the lesser part of both.
    two_readings_min = _interval_s(review, override.start_ms) / 30.0
    if override.locked_out_minutes >= 1.0:
        text += f", locked out {minutes_words(override.locked_out_minutes)}"
    elif override.ruled_minutes < 1.0 and override.minutes > two_readings_min:
        text += ", never set the fan's speed"
    if override.ended == "stands":
        text += ", not yet released"
    return text
