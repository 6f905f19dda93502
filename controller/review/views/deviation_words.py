"""What was not as expected, in words, and what to look at."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from controller import display
from controller.display import Units, hours_and_minutes
from controller.wording.fields import doubt_words

if TYPE_CHECKING:
    from controller.review.deviations import Deviation
    from controller.review.excursions import Cause, Excursion
    from controller.review.report import Review

_LOOK_AT_AIR = (
    "Look, in this order: does the fan turn, is the filter loaded, is the duct kinked or off; then "
)
_THEN_CONFIG = (
    "whether lamp.power and fan in the config are right, nothing else gives off heat or steam, and "
    "the tent's and the intake's sensor read alike side by side"
)
_THEN_SENSORS = "hang the tent's and the intake's sensor side by side for an hour"
_LOOK_AT_SENSORS = (
    "It was too warm in the dark as well, where no lamp should heat: first hang the tent's and the "
    "intake's sensor side by side for an hour; then look whether the fan turns, the filter is "
    "loaded, the duct kinked or off"
)


# So far below its intake air leaves and two sensors' errors hardly bring a tent (engineering
# judgement, no source) [K].
_COLDER_THAN_OPEN_K = 2.0
OTHER_HOURS = (
    "the tent was hardly warmed in the lamp's hours and too warm out of them: the lamp may keep "
    "other hours than the config"
)


COLDER_THAN_INTAKE = "the tent read colder than the air that it draws in: a sensor may be off"


def keeps_other_hours(review: Review) -> bool:
    """Whether the lamp seems dark in its hours and lit out of them."""
    kinds = {deviation.kind for deviation in review.deviations}
    return {"little_rise", "heat_while_dark"} <= kinds


def expected_words(low_k: float, high_k: float, units: Units, *, above: bool) -> str:
    """What was to be expected: "at most 3.4 K expected", "1.8 K or more expected"."""
    if not above:
        return f"{display.temperature_difference(low_k, units)} or more expected"
    if high_k < 0.05:  # which would be shown as none
        return "none expected with so much moisture in the tent"
    return f"at most {display.temperature_difference(high_k, units)} expected"


def rise_figures(rise_k: float, low_k: float, high_k: float, units: Units, *, above: bool) -> str:
    """Observed beside expected: "3.4 K above the intake air, at most 1.2 K expected"."""
    shown = f"{display.temperature_difference(abs(rise_k), units)} "
    shown += f"{'above' if rise_k >= 0.0 else 'below'} the intake air"
    expected = expected_words(low_k, high_k, units, above=above)
    if rise_k < 0.0 and not above:
        expected = expected.replace("or more", "or more above it")
    return f"{shown}, {expected}"


def is_too_cold_for_open(rise_k: float | None) -> bool:
    """Whether a lit tent read colder than one that is open, or whose lamp is dark, would."""
    return rise_k is not None and rise_k < -_COLDER_THAN_OPEN_K


def deviation_figures(cause: Cause, units: Units) -> str:
    """Observed against expected rise of a cause."""
    if cause.value is None or cause.expected_k is None:
        return "the rise over the intake air was not as expected"
    above = cause.code != "tent_open_or_lamp_dark"
    return rise_figures(cause.value, *cause.expected_k, units, above=above)


def deviation_clause(review: Review, deviation: Deviation) -> str:
    """One deviation as the end of a headline."""
    when = f"({review.period.span(deviation.start_ms, deviation.end_ms)})"
    is_cold = is_too_cold_for_open(deviation.observed_k)
    what = {
        "less_air": less_air_words(review),
        "little_rise": COLDER_THAN_INTAKE
        if is_cold
        else "the lit lamp hardly warmed the tent: it was open, or the lamp dark or dimmed",
        "heat_while_dark": "the tent was too warm while its lamp should be dark",
        "lit_out_of_hours": "the lamp was lit out of its hours",
        "reduced_transpiration": "the air took up far less moisture in the tent than it did",
        "sensor_drift": "the tent's and the intake's sensor no longer differed as they did",
    }[deviation.kind]
    return f"{what}, for {_length(deviation)} {when}"


def by_kind(deviations: Sequence[Deviation]) -> list[list[Deviation]]:
    """All of each kind, the longest first; the kinds in the order of their longest."""
    kinds: dict[str, list[Deviation]] = {}
    for deviation in sorted(deviations, key=lambda deviation: -deviation.minutes):
        kinds.setdefault(deviation.kind, []).append(deviation)
    return sorted(kinds.values(), key=lambda alike: alike[0].start_ms)


def deviation_sentence(review: Review, deviation: Deviation, *shorter: Deviation) -> str:
    """One deviation, or the longest of several alike, with its figures and what to look at.

    What they were compared with comes last.
    """
    doubt = doubt_words(deviation.compared_with, deviation.or_sensor, review.period.zone)
    return f"{_sentence(review, deviation, *shorter)} {doubt}".rstrip()


def _sentence(review: Review, deviation: Deviation, *shorter: Deviation) -> str:
    units = review.settings.units
    when = f"for {_length(deviation)} ({review.period.span(deviation.start_ms, deviation.end_ms)})"
    if shorter:
        whole = hours_and_minutes(deviation.minutes + sum(other.minutes for other in shorter))
        when = f"{len(shorter) + 1} times, {whole} together, the longest {when}"
    if deviation.kind == "lit_out_of_hours":
        return f"The lamp was lit out of its hours {when}: look at its timer or relay."
    if deviation.kind == "sensor_drift":
        return _drift_sentence(deviation, when, units)
    assert deviation.observed_k is not None
    assert deviation.low_k is not None
    assert deviation.high_k is not None
    above = deviation.kind != "little_rise"
    figures = rise_figures(
        deviation.observed_k, deviation.low_k, deviation.high_k, units, above=above
    )
    if deviation.kind == "less_air":
        share = ""
        if deviation.air_share is not None and deviation.air_share < 0.9:
            share = f", as if {share_words(deviation.air_share)} of the air came through"
        then = _THEN_CONFIG if deviation.compared_with == "config" else _THEN_SENSORS
        look = _LOOK_AT_SENSORS if _is_off_in_the_dark(review) else f"{_LOOK_AT_AIR}{then}"
        return f"Less air than expected, or more heat, {when}: {figures}{share}. {look}."
    if deviation.kind == "reduced_transpiration":
        return _water_sentence(deviation, when)
    if deviation.kind == "little_rise" and is_too_cold_for_open(deviation.observed_k):
        return (
            f"The lit tent read colder than the air that it draws in {when}: {figures}. An open "
            "tent or a dark lamp hardly does that: first hang the tent's and the intake's sensor "
            "side by side for an hour."
        )
    if deviation.kind == "little_rise" and deviation.moisture_g_kg is not None:
        return (
            f"The lit tent was less far above its intake air than as learned {when}: {figures}; "
            f"{_moisture(deviation)}. "
            "Look, in this order: was the door closed, the duct in its place, the lamp lit and "
            "not dimmed; then whether the tent's sensor hangs where it did."
        )
    if deviation.kind == "little_rise":
        return (
            f"The lit lamp hardly warmed the tent {when}: {figures}. The tent was open, or the "
            "lamp dark or dimmed; else lamp.power or the fan's figures are not those of this tent."
        )
    if keeps_other_hours(review):
        return (
            f"The tent was too warm while its lamp should be dark {when}: {figures}. It was hardly "
            "warmed in the lamp's hours, too: first compare its timer's hours with the config's."
        )
    return (
        f"The tent was too warm while its lamp should be dark {when}: {figures}. "
        "Look whether the lamp is lit at night; a heater, a room warmer than the intake air, or a "
        "sensor that reads too warm shows the same."
    )


def less_air_words(review: Review, since: str = "") -> str:
    """What less air than expected may be: a sensor that is off, where the dark shows it as well."""
    if _is_off_in_the_dark(review):
        return (
            f"the tent was warmer than lamp and fan explain{since}, and in the dark as well: a "
            "sensor may be off, or less air came through"
        )
    text = "less air came through than the fan should move, or more heat was set free than the "
    text += "config says"
    return f"{since.removeprefix(' ')} {text}" if since else text


def _is_off_in_the_dark(review: Review) -> bool:
    """Whether the tent was too warm without its lamp, too: a sensor that is off shows just that."""
    return any(deviation.kind == "heat_while_dark" for deviation in review.deviations)


def _water_sentence(deviation: Deviation, when: str) -> str:
    """Less moisture than as learned, with its figures and what to look at."""
    share = ""
    if deviation.water_share is not None:
        water = share_words(deviation.water_share)
        share = f", as if plants and soil gave off {water} of their water"
    return (
        f"The air took up less moisture in the tent than as learned {when}: "
        f"{_moisture(deviation)}{share}. Look, in this order: do the "
        "plants wilt, are pots or reservoir empty, does a dripper or pump fail; then hang the "
        "tent's and the intake's sensor side by side."
    )


def _moisture(deviation: Deviation) -> str:
    """Observed moisture over the intake air's against the expected."""
    assert deviation.moisture_g_kg is not None
    observed, low, high = deviation.moisture_g_kg
    return f"{observed:.1f} g/kg, {max(0.0, low):.1f} to {high:.1f} g/kg expected"


def _drift_sentence(deviation: Deviation, when: str, units: Units) -> str:
    """A sensor that reads otherwise than it did, and what to do."""
    assert deviation.sensor_off is not None
    off_k, off_pct = deviation.sensor_off
    size = (
        display.temperature_difference(abs(off_k), units)
        if off_k
        else display.humidity(abs(off_pct))
    )
    way = "more" if off_k + off_pct > 0.0 else "less"
    return (
        f"The tent's sensor read {size} {way} beside the intake's than it did {when}: one of both "
        "errs or hangs elsewhere than it did, or the room around the tent became warmer or colder "
        "beside the air drawn in. Hang both side by side for an hour with a good instrument; if "
        "they agree, the room is likelier."
    )


def share_words(share: float) -> str:
    """Such as "about 20 %" or "hardly any"."""
    return "hardly any" if share < 0.05 else f"about {100.0 * share:.0f} %"


def _length(deviation: Deviation) -> str:

    return hours_and_minutes(deviation.minutes)


# Intake air so near the limit leaves nothing to any fan: a sensor errs by more (engineering
# judgement) [K].
_LEAST_HEADROOM_K = 0.5


def stronger_fan_words(review: Review, cause: Cause) -> str:
    """How strong a fan would do: "; with intake air of 24 °C, 27 °C takes 150 to 300 m³/h ..."."""
    from controller.expectation import ExpectedRise

    expected = ExpectedRise.from_settings(review.settings)
    limit_c = review.settings.targets.day.temperature_c.high
    if expected is None or cause.intake_c is None or limit_c - cause.intake_c < _LEAST_HEADROOM_K:
        return ""
    units = review.settings.units
    likely, dry = expected.needed_flow_m3_s(cause.intake_c, limit_c)
    delivered = expected.delivered_m3_s()
    opening = (
        f"; with intake air of {display.temperature(cause.intake_c, units)}, "
        f"{display.temperature(limit_c, units)} takes"
    )
    ending = f"where this fan moves {display.flow(delivered, units)}"
    if likely <= delivered or not math.isfinite(likely):
        return ""
    if not math.isfinite(dry):
        return f"{opening} {display.flow(likely, units)} or more {ending}"
    return f"{opening} {display.flow(likely, units)} to {display.flow(dry, units)} {ending}"


def swing_words(review: Review, cause: Cause, excursions: Sequence[Excursion]) -> str:
    """That the band is narrower than the tent's swing, and what would widen or calm it."""

    minutes = hours_and_minutes(cause.minutes)
    return f"{swing_clause(review, cause, excursions[0].quantity)}, {minutes}"


def swing_clause(review: Review, cause: Cause, quantity: str) -> str:
    """Such as "the band of 0.6 K is narrower than the tent's swing of 1.9 K, ..."."""
    settings, units = review.settings, review.settings.units
    low, high = getattr(review.terms.present.bands(True), _BANDS[quantity])
    hysteresis = {
        "temperature": settings.overrides.temperature.hysteresis_k,
        "humidity": settings.overrides.humidity.hysteresis_pct,
        "vpd": settings.overrides.vpd.hysteresis_pa,
    }[quantity]

    def width(value: float) -> str:
        if quantity == "temperature":
            return display.temperature_difference(value, units)
        return display.humidity(value) if quantity == "humidity" else display.vpd(value)

    swing = "" if cause.value is None else f" of {width(cause.value)}"
    advice = f"change the hysteresis (overrides.{quantity}.hysteresis, {width(hysteresis)})"
    if cause.value is None or cause.value <= _WIDEST[quantity]:
        advice = f"widen it, or {advice}"
    elif settings.fan.drive == "relay":
        advice = "a fan whose speed can be set swings it less"
    return f"the band of {width(high - low)} is narrower than the tent's own swing{swing}: {advice}"


# No band is widened further than that (engineering judgement, no source) [K], [%], [Pa].
_WIDEST = {"temperature": 10.0, "humidity": 45.0, "vpd": 1500.0}
_BANDS = {"temperature": "temperature_c", "humidity": "humidity_pct", "vpd": "vpd_pa"}
