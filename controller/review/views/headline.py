"""The headline: what happened in one sentence, with its main reason."""

from __future__ import annotations

from controller import display
from controller.display import hours_and_minutes
from controller.review.deviations import Deviation
from controller.review.excursions import KINDS, Cause, Kind, furthest
from controller.review.main_cause import MainCause, WorstKind, main_cause, worst_kind
from controller.review.period import date_in_words
from controller.review.phrases import too_words, value_words
from controller.review.quality import Quality
from controller.review.report import Review
from controller.review.segments import Gap
from controller.review.views.cause_words import below_full_words
from controller.review.views.deviation_words import (
    COLDER_THAN_INTAKE,
    OTHER_HOURS,
    by_kind,
    deviation_clause,
    deviation_sentence,
    is_too_cold_for_open,
    keeps_other_hours,
    less_air_words,
    stronger_fan_words,
    swing_clause,
)
from controller.review.views.quality_words import clock_step_words
from controller.review.views.review_words import lamp_cut_words
from controller.wording import heat_effect

# Those that are deviations from what was expected, by kind.
_OF_DEVIATIONS = {
    "less_air": "less_air_than_expected",
    "little_rise": "tent_open_or_lamp_dark",
    "heat_while_dark": "heat_while_dark",
    "reduced_transpiration": "reduced_transpiration",
    "sensor_drift": "sensor_drift",
    "lit_out_of_hours": "lamp_lit_out_of_hours",
}
# What held for so much of its time, from first to last, held in one piece.
_NEARLY_ALL = 0.9
# A tent so far above its intake air is worth a word beside the heat of that [K] (engineering
# judgement, no source).
_FAR_K = 5.0
# So many steps of the clock are told in a sentence; all are among the data.
_MOST_STEPS = 3
# A clock that was off by no more is no matter [s].
_SMALL_STEP_S = 300.0
# A daemon away for no longer was restarted [min]; its first reading comes within a while [ms].
_LONG_AWAY, _START_MS = 15.0, 300_000.0
# Readings missing for so long are reported [min a day].
_LONG_MISSING = 15.0


def headline(review: Review) -> str:
    """What happened, in one sentence."""
    day = review.period.days[0].date
    is_other_year = day.year != review.period.local(review.now_ms).year
    opening = date_in_words(day, year=is_other_year)
    if not review.is_one_day:
        opening = review.period.title
    if review.is_empty:
        return f"{opening}: {_nothing(review)}"
    worst = worst_kind(review)
    clauses = _temperature_clauses(review, worst)
    if worst is None:
        known = review.figures.temperature.minutes
        if known.all - known.missing > 0:
            whole = known.missing < 1 and not review.deviations
            clauses.append("in band throughout" if whole else "in band as far as recorded")
        text = f"{opening}: {', '.join(clauses) or 'nothing that can be trusted was measured'}"
        return _with_deviation(review, text, None)
    quantity, side, minutes = worst
    how_long = f"{hours_and_minutes(minutes)} {too_words(quantity, side)}"
    if not review.is_one_day:
        count = sum(day.minutes_out(worst.kind) >= 1.0 for day in review.counted.days)
        how_long += f" on {count} of {len(review.period.days)} days"
    if quantity == "temperature":
        clauses.append(how_long)
    else:  # what was out of band comes first
        clauses = [f"{how_long} ({_worst_value_words(review, worst.kind)})",
                   *(f"hottest {clause}" for clause in clauses)]  # fmt: skip
    text = f"{opening}: {', '.join(clauses)}"
    cause = main_cause(review, worst.kind)
    if cause is not None:
        text = f"{text}; {_cause_clause(review, cause, quantity)}"
    return _with_deviation(review, text, cause)


def _temperature_clauses(review: Review, worst: WorstKind | None) -> list[str]:
    """How hot it was and when; of a temperature out of band, how far it was out."""
    temperature = review.figures.temperature
    value, at_ms = temperature.highest, temperature.highest_ms
    if worst is not None and worst.quantity == "temperature":
        excursion = furthest(review.excursions, worst.kind)
        if excursion is not None:
            value, at_ms = excursion.extreme, excursion.extreme_ms
    if value is None or at_ms is None:
        return []
    preposition = "at" if review.is_one_day else "on"
    shown = value_words("temperature", value, review.settings.units)
    return [f"{shown} {preposition} {review.period.when(at_ms)}"]


def _worst_value_words(review: Review, kind: Kind) -> str:
    """The worst value of the time that a quantity was out of its band: "up to 85 %"."""
    excursion = furthest(review.excursions, kind)
    value = None if excursion is None else excursion.extreme
    way = "up to" if kind[1] == "above" else "down to"
    return f"{way} {value_words(kind[0], value, review.settings.units)}"


def _with_deviation(review: Review, text: str, cause: MainCause | None) -> str:
    """The headline, with the longest thing that was not as expected unless that is its reason."""
    deviation = headline_deviation(review, None if cause is None else cause.code)
    return text if deviation is None else f"{text}; {deviation_clause(review, deviation)}"


def headline_deviation(review: Review, code: str | None) -> Deviation | None:
    """The deviation that the headline tells beside its reason; None where that is one."""
    if code in _OF_DEVIATIONS.values():
        return None
    return max(review.deviations, key=lambda deviation: deviation.minutes, default=None)


def _nothing(review: Review) -> str:
    begins = review.quality.record_begins_ms
    if begins is None:
        return "the record has no readings yet"
    if begins >= review.period.end_ms:
        return f"no readings; the record begins on {review.period.local(begins):%Y-%m-%d}"
    return "no readings of that day" if review.is_one_day else "no readings of these days"


def _since_words(review: Review, main: MainCause) -> str:
    """When the main cause held; where that was now and then, for how long. "" if always."""
    cause, longest = main.total, main.longest
    span = (longest.until_ms - longest.since_ms) / 60_000.0
    in_one_piece = longest.minutes >= _NEARLY_ALL * max(span, cause.minutes)
    if main.is_throughout and (not in_one_piece or cause.code == "held_by_hand"):
        return ""  # a hold began before
    if not (review.is_one_day and in_one_piece):
        return f" for {hours_and_minutes(cause.minutes)} of it"
    since = ""
    if longest.since_ms > review.period.start_ms:
        since = f" from {review.period.clock(longest.since_ms)}"
    if not main.ends_early:
        return since
    return f"{since} {'to' if since else 'until'} {review.period.clock(longest.until_ms)}"


def _cause_clause(review: Review, main: MainCause, quantity: str) -> str:
    """The cause as a clause."""
    cause = main.total
    if cause.code == "band_narrower_than_swing":
        return swing_clause(review, cause, quantity)
    since = _since_words(review, main)
    # Air from outside may cool a tent and still not bring it into its band.
    in_vain = "so more air could not have helped" + ("" if main.is_useless else " enough")
    clauses = {
        "fan_not_turning": f"the fan was commanded but did not turn{since}",
        "less_air_than_expected": less_air_words(review, since),
        "lamp_lit_out_of_hours": f"the lamp was lit out of its hours{since}",
        "heat_while_dark": f"the tent was too warm while its lamp should be dark{since}",
        "tent_open_or_lamp_dark": _little_rise_clause(review, cause, since),
        "reduced_transpiration": "the air took up far less moisture in the tent than it "
        f"did{since}",
        "held_by_hand": f"the fan was held by hand{since}",
        "sensor_missing": f"there was no trustworthy reading{since}",
        "intake_too_hot": f"the intake air was hotter than the band{since}, {in_vain}"
        f"{_though_far_cooler(review, cause)}",
        "intake_too_cold": f"the intake air was colder than the band{since}",
        "intake_too_wet": f"the intake air was too moist{since}, {in_vain}",
        "intake_too_dry": f"the intake air was too dry for the band{since}",
        "too_hot_meanwhile": f"it was too hot as well{since}, and hot air dries",
        "slowed_against_cold": f"the fan was slowed against the cold{since}",
        "kept_running_against_humidity": f"the fan ran to dry the air{since}",
        "kept_running_against_stale_air": f"the fan ran to bring the leaves CO2{since}",
        "purge": f"purges brought in outside air{since}",
        "lamp_heat": f"the lamp gives more heat than full flow can carry off at that intake "
        f"temperature{since}{stronger_fan_words(review, cause)}",
        "outside_fan_hours": f"it was outside the fan hours{since}",
        "fan_at_full_speed": f"the fan was already commanded to full speed{since}",
        "fan_below_full_speed": f"the {below_full_words(review)}{since}",
        "quiet_hours": f"quiet hours kept the fan slow{since}, though more air would have helped",
        "fan_at_rest": f"the fan rested{since}, though more air was asked for",
        "fan_slowed": f"the fan was already slowed or at rest{since}",
        "minimum_off_time": "the fan waited out its minimum off time",
        "override_delay": "the override waited out its delay",
    }
    return clauses[cause.code]


def _though_far_cooler(review: Review, cause: Cause) -> str:
    """That a tent got further above its intake air than that was above the band."""
    hottest, intake_c = review.figures.temperature.highest, cause.value
    limits = [e.limit for e in review.excursions if (e.quantity, e.side) == KINDS[0] and e.limit]
    if hottest is None or intake_c is None or not limits:
        return ""
    if hottest - intake_c <= max(_FAR_K, intake_c - max(limits)):
        return ""
    shown = display.temperature(intake_c, review.settings.units)
    return f", though it was {shown} at most and the tent far above that"


def _little_rise_clause(review: Review, cause: Cause, since: str) -> str:
    if is_too_cold_for_open(cause.value):
        return f"{since.removeprefix(' ')} {COLDER_THAN_INTAKE}".lstrip()
    if keeps_other_hours(review):
        return OTHER_HOURS
    return f"the tent was open, or the lamp dark or dimmed{since}"


def also(review: Review) -> list[str]:
    """What else a grower should know of the day: one sentence each, the headline's left out."""
    worst = worst_kind(review)
    first, last = None if worst is None else main_cause(review, worst.kind), ""
    cuts = lamp_cut_words(review)
    sentences = [
        *_other_tent(review),
        *([f"The lamp was {cuts}."] if cuts else []),
        *_interruptions(review),
        *(deviation_sentence(review, *alike) for alike in by_kind(review.deviations)),
    ]
    for quantity, side in KINDS:
        minutes = review.figures.minutes_out((quantity, side))
        if worst is not None and (quantity, side) == worst.kind:
            continue
        if minutes < 15.0 * len(review.period.days):
            continue
        cause = main_cause(review, (quantity, side))
        reason = _reason_words(review, cause, (quantity, side), first, last)
        last = "" if cause is None else cause.code
        text = too_words(quantity, side)
        sentences.append(
            f"{text[0].upper()}{text[1:]} for {hours_and_minutes(minutes)} "
            f"({_worst_value_words(review, (quantity, side))}){reason}."
        )
    sentences += [
        f"Too little CO2 in the light for {hours_and_minutes(co2.low_minutes)} "
        f"({display.co2(co2.lowest)} by {name})."
        for name, co2 in sorted(review.quality.co2_ppm.items())
        if co2.low_minutes >= 15.0 * len(review.period.days)
    ]
    warning = review.figures.minutes_above_warning
    if warning >= 1.0:
        limit = display.temperature(review.settings.targets.heat_warning_c, review.settings.units)
        effect = heat_effect(review.settings, review.figures.temperature.highest)
        sentences.append(
            f"Above the heat warning of {limit} for {hours_and_minutes(warning)}"
            + (f": {effect}." if effect else ".")
        )
    return sentences


def _reason_words(
    review: Review, cause: MainCause | None, kind: Kind, first: MainCause | None, last: str
) -> str:
    """The main cause at the end of a sentence.

    The headline's, and that of the sentence before, are not told anew.
    """
    if cause is None:
        return ""
    if cause.code != "band_narrower_than_swing":  # whose figures are each quantity's own
        if first is not None and cause.code == first.code:
            return f": the main reason again{_since_words(review, cause)}"
        if cause.code == last:
            return f", for the same reason{_since_words(review, cause)}"
    return f"; {_cause_clause(review, cause, kind[0])}"


def _away(review: Review) -> list[Gap]:
    """Gaps of some length that a start of the daemon ended."""
    starts_ms = review.quality.starts_ms
    return [
        gap
        for gap in review.quality.gaps
        if gap.minutes >= _LONG_AWAY
        and any(gap.start_ms < at_ms <= gap.end_ms + _START_MS for at_ms in starts_ms)
    ]


def _other_tent(review: Review) -> list[str]:
    """A record of one tent that is reviewed with the config of another."""
    given = review.settings.tent.name
    recorded = {review.terms.in_force(hour.config_id).settings.tent.name for hour in review.hours}
    if not recorded or given in recorded:
        return []
    names = " and ".join(sorted(recorded))
    return [f"This is the record of {names}; the config given is that of {given}."]


def _interruptions(review: Review) -> list[str]:
    """A fan that did not turn, missing readings, and a clock that was wrong."""
    sentences = []
    stalled_min = sum(end - start for start, end in review.fan_stalls) / 60_000.0
    if stalled_min >= 1.0:
        first = review.fan_stalls[0]
        when = f" ({review.period.span(*first)})" if len(review.fan_stalls) == 1 else ""
        sentences.append(
            f"The fan was commanded but did not turn for {hours_and_minutes(stalled_min)}{when}."
        )
    away = _away(review)
    quality = review.quality
    missing = review.figures.temperature.minutes.missing - quality.minutes_to_come
    missing -= quality.minutes_jumped_over
    if away:
        whole_min = sum(gap.minutes for gap in away)
        missing -= whole_min
        when = f" ({review.period.span(*away[0])})" if len(away) == 1 else ""
        sentences.append(
            f"lungwort did not run for {hours_and_minutes(whole_min)}{when}: fan and lamp did what "
            "their wiring and timers make of that, and what became of the air is not known."
        )
    if not review.is_empty and missing >= _LONG_MISSING * len(review.period.days):
        sentences.append(f"No trustworthy reading for {hours_and_minutes(missing)}.")
    steps = [step for step in review.quality.clock_steps if abs(step[1]) > _SMALL_STEP_S]
    if steps:
        stepped = " and ".join(clock_step_words(review, *step) for step in steps[:_MOST_STEPS])
        sentences.append(
            f"The clock was wrong: it stepped {stepped}. Times before or between are off, and so "
            "were the hours that go by that clock." + _time_twice_or_not(review.quality)
        )
    return sentences


def _time_twice_or_not(quality: Quality) -> str:
    """Why the sums of a day with a wrong clock differ."""
    text = ""
    if quality.minutes_jumped_over >= 1.0:
        text += (
            f" {hours_and_minutes(quality.minutes_jumped_over)} of the missing time it jumped over."
        )
    if quality.minutes_twice >= 1.0:
        text += (
            f" {hours_and_minutes(quality.minutes_twice)} came twice: hours in and out of band "
            "count them once, fan, lamp, energy and excess twice."
        )
    return text
