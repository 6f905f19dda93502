"""What a review found, in plain words and the user's units."""

from __future__ import annotations

from collections.abc import Sequence

from controller import display
from controller.display import hours_and_minutes
from controller.review.cause_conditions import FULL_SPEED
from controller.review.excursions import Cause, Excursion
from controller.review.overrides import Override
from controller.review.phrases import too_words, value_words
from controller.review.report import Review
from controller.review.views.deviation_words import (
    deviation_figures,
    is_too_cold_for_open,
    stronger_fan_words,
    swing_words,
)
from controller.wording import rule_words

NO_CAUSE = "nothing in the record says why"


def below_full_words(review: Review) -> str:
    """An override ran the fan below full speed: at its own, or at one worth its power."""
    overrides = review.settings.overrides
    watched = (overrides.temperature, overrides.humidity, overrides.vpd, overrides.dew_point)
    allowed = all(watch.speed >= FULL_SPEED for watch in watched)
    if not review.is_modulated:
        return "fan ran below full speed, as its override is set,"
    unset = "" if allowed else "not set, or "
    return f"fan ran below full speed, since more was {unset}not worth its power or did other harm,"


def cause_words(review: Review, cause: Cause, excursions: Sequence[Excursion]) -> str:
    """One cause of an excursion, or of several alike, with its numbers."""
    units = review.settings.units
    out_min = sum(excursion.minutes for excursion in excursions)
    # One that went on through short returns into the band held no longer out of it.
    held_min = cause.minutes if cause.code == "sensor_missing" else min(cause.minutes, out_min)
    minutes = hours_and_minutes(held_min)
    value = cause.value
    rise = "" if value is None else display.temperature_difference(value, units)
    temperature = "" if value is None else display.temperature(value, units)
    is_one = len(excursions) == 1
    # What several excursions have in common held now and then: no span, and "in all".
    span = f" ({review.period.span(cause.since_ms, cause.until_ms)})" if is_one else ""
    way = "down" if cause.code == "intake_too_cold" else "up"
    extreme = "" if value is None else f", {way} to {temperature}"
    minutes += "" if is_one else " in all"
    is_beside = is_one and not excursions[0].covers(cause)
    by = "" if value is None else f" of {display.duration(value)}"
    texts = {
        "intake_too_hot": f"intake air hotter than the band for {minutes}{span}{extreme}",
        "intake_too_cold": f"intake air colder than the band for {minutes}{span}{extreme}",
        "intake_too_wet": f"intake air too moist to help for {minutes}{span}",
        "intake_too_dry": f"intake air too dry to help for {minutes}{span}",
        "fan_at_full_speed": f"fan already commanded to full speed for {minutes}",
        "fan_below_full_speed": f"{below_full_words(review)} for {minutes}",
        "quiet_hours": f"fan kept slow by quiet hours for {minutes}{span}, though more of "
        "that intake air would have helped",
        "fan_slowed": f"fan already slowed or at rest for {minutes}",
        "too_hot_meanwhile": f"too hot as well for {minutes}: less air would be hotter and drier",
        "fan_at_rest": f"fan at rest for {minutes}, though more air was asked for: its next start "
        "was not due, or no speed was worth its power",
        "slowed_against_cold": f"fan slowed against the cold for {minutes}",
        "kept_running_against_humidity": f"fan ran to dry the air for {minutes}",
        "kept_running_against_stale_air": f"fan ran to bring CO2 for {minutes}",
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
        "tent_open_or_lamp_dark": (
            "tent read colder than its intake air, so that a sensor may be off,"
            if is_too_cold_for_open(value)
            else "tent open, or lamp dark or dimmed,"
        )
        + f" for {minutes}{span}: {deviation_figures(cause, units)}",
        "reduced_transpiration": f"air took up far less moisture in the tent than it did for "
        f"{minutes}{span}",
        "heat_while_dark": f"tent too warm while its lamp should be dark for {minutes}{span}: "
        f"{deviation_figures(cause, units)}",
        "lamp_lit_out_of_hours": f"lamp lit out of its hours for {minutes}{span}",
        "band_narrower_than_swing": swing_words(review, cause, excursions),
        "held_by_hand": f"fan held by hand for {minutes}{span}",
        "override_locked_out": f"override locked out for {minutes}: outside air can't help",
        "config_changed": f"config changed at {review.period.when(cause.since_ms)}",
    }
    return texts.get(cause.code, cause.code.replace("_", " "))


def excursion_words(review: Review, excursion: Excursion) -> str:
    """One excursion without its causes: "12:10–17:20 too hot, 5 h 10 min, up to 31.4 °C"."""
    period, units = review.period, review.settings.units
    way = "up to" if excursion.side == "above" else "down to"
    span = period.span(excursion.start_ms, excursion.end_ms)
    too = too_words(excursion.quantity, excursion.side)
    extreme = value_words(excursion.quantity, excursion.extreme, units)
    return f"{span} {too}, {hours_and_minutes(excursion.minutes)}, {way} {extreme}"


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
        return rule_words(override.rule, override.quantity)
    return reason_words(reason, review.settings.units)


def _interval_s(review: Review, at_ms: float) -> float:
    """How long a reading was at an instant, by the config in force then [s]."""
    ids = (hour.config_id for hour in review.hours if hour.start_ms <= at_ms < hour.end_ms)
    return review.terms.in_force(next(ids, None)).settings.record.interval_s


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
    # A reading bears the rule that decided longest: an override no longer than two readings may
    # have been the lesser part of both.
    two_readings_min = _interval_s(review, override.start_ms) / 30.0
    if override.locked_out_minutes >= 1.0:
        text += f", locked out {hours_and_minutes(override.locked_out_minutes)}"
    elif override.wants_air and override.quiet_minutes >= 1.0:
        text += f", kept to the quiet speed for {hours_and_minutes(override.quiet_minutes)}"
    elif override.deciding_minutes < 1.0 and override.minutes > two_readings_min:
        text += ", never set the fan's speed"
    if override.ended == "stands":
        text += ", not yet released"
    return text


def speed_effect_words(review: Review, override: Override) -> str:
    """What its modulated speeds brought and cost, beside the scheduled speed and its own; or ""."""
    effect = override.speed_effect
    if effect is None:
        return ""
    quantity, units = override.quantity, review.settings.units
    modelled, observed = (
        value_words(quantity, value, units) for value in (effect.modelled, effect.observed)
    )
    gained = _change_words(quantity, effect.at_scheduled, effect.modelled, units)
    text = f"at speeds worth their power {gained} on average than at the scheduled one"
    cost_wh = 1000.0 * (effect.energy_kwh - effect.scheduled_kwh)
    text += f", for {_energy_words(cost_wh)}" if cost_wh >= 0.5 else ""
    spared_wh = 1000.0 * (effect.fastest_kwh - effect.energy_kwh)
    if spared_wh >= 0.5:
        more = _change_words(quantity, effect.modelled, effect.at_fastest, units)
        than_that = "" if more.startswith("no ") else " than that"
        fastest = display.speed(effect.fastest)
        text += f"; at {fastest} {more}{than_that}, for {_energy_words(spared_wh)} more"
    return f"{text} (modelled {modelled}, observed {observed})"


def _change_words(quantity: str, before: float, after: float, units: display.Units) -> str:
    """Such as "0.4 °C cooler", "no drier" or "0.05 kPa higher in VPD"."""
    apart = abs(after - before)
    shown = {
        "temperature": display.temperature_difference(apart, units),
        "humidity": display.humidity(apart),
        "vpd": display.vpd(apart),
    }[quantity]
    less, more = {
        "temperature": ("cooler", "warmer"),
        "humidity": ("drier", "moister"),
        "vpd": ("lower in VPD", "higher in VPD"),
    }[quantity]
    if not any(digit in shown for digit in "123456789"):
        return f"no {more if quantity == 'vpd' else less}"
    return f"{shown} {less if after < before else more}"


def _energy_words(watt_hours: float) -> str:
    """A small energy in Wh, a larger one in kWh."""
    return f"{watt_hours:.0f} Wh" if watt_hours < 999.5 else display.energy(watt_hours / 1000.0)
