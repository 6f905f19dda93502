"""Tomorrow in words, and as tables. Pure."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple
from zoneinfo import ZoneInfo

from controller import display
from controller.review.excursions import KINDS
from controller.review.phrases import too_words
from controller.tables import table_lines, wrapped
from controller.tomorrow.blend import OUTDOOR_ERROR_K
from controller.tomorrow.foresee import Estimated
from controller.tomorrow.intervals import FIRST_HALF_K, LEAST_HINDCASTS
from controller.tomorrow.report import TomorrowReport, as_today_rms_k, peak_rms_k
from controller.tomorrow.tonight import LEAST_GAIN_K, LEAST_HOT_MIN, TOO_HOT, TonightChange, Tried

# Shorter is in band, for who plans a day.
_LEAST_MIN = 1.0


def as_text(report: TomorrowReport, width: int) -> list[str]:
    """The lines that `lungwort tomorrow` prints, at most `width` columns wide."""
    lines: list[str] = []
    for sentence in headline(report):
        lines += wrapped(sentence, width)
    rows = _band_rows(report)
    if rows:
        lines += ["", "Out of band"]
        headings = (
            "",
            display.unbroken("last 24 h"),
            "tomorrow",
            display.unbroken("90 % interval"),
        )
        lines += table_lines(headings, rows, width, align="<>>>")
    lines += ["", *_tonight_lines(report, width), "", "What it rests on"]
    for sentence in grounds(report):
        lines += wrapped(sentence, width, first="  - ", rest="    ")
    return lines


def headline(report: TomorrowReport) -> list[str]:
    """The peak, and whether the room leaves the fan a chance."""
    units, expected = report.settings.units, report.expected
    peak, figures = expected.peak_c, expected.figures
    zone = ZoneInfo(report.settings.place.timezone)
    at = dt.datetime.fromtimestamp(figures.peak_at_s, zone) + dt.timedelta(minutes=30)
    low, high = (display.temperature(end, units) for end in (peak.low, peak.high))
    sentences = [
        f"Tomorrow, {report.date:%A %-d %B %Y}: the tent's air will reach about "
        f"{display.temperature(peak.value, units)} (90 %: {low} to {high}), around {at:%H}:00."
    ]
    limit_c = report.settings.targets.day.temperature_c[1]
    hot = expected.minutes[TOO_HOT]
    band = display.temperature(limit_c, units)
    room = display.temperature(figures.room_peak_c, units)
    if figures.room_peak_c >= limit_c and hot.value >= _LEAST_MIN:
        sentences.append(
            f"The air drawn in will itself reach about {room}, above the day's band ({band}): more "
            "air can't bring the tent into it then."
        )
    elif hot.value >= _LEAST_MIN:
        sentences.append(
            f"The air drawn in will reach about {room}; the day's band ends at {band}."
        )
    return sentences


class Sentences(NamedTuple):
    """All of it without the tables: for letter, page and programs that show text.

    Attributes
    ----------
    headline, tonight, grounds : list of str
        What will be, what would help, and what it rests on.
    """

    headline: list[str]
    tonight: list[str]
    grounds: list[str]


def sentences(report: TomorrowReport) -> Sentences:
    """Put the report into sentences."""
    return Sentences(
        [*headline(report), *_out_of_band(report)],
        [_tonight_sentence(report, tried) for tried in report.tonight] or [_no_help(report)],
        grounds(report),
    )


def _out_of_band(report: TomorrowReport) -> list[str]:
    parts = [
        f"{too_words(*kind)} for {display.hours_and_minutes(minutes.value)} ({_interval(minutes)})"
        for kind in KINDS
        if (minutes := report.expected.minutes[kind]).value >= _LEAST_MIN
    ]
    return [f"Out of band: {', '.join(parts)}."] if parts else []


def _tonight_sentence(report: TomorrowReport, tried: Tried) -> str:
    units = report.settings.units
    longer_min = tried.hot_min - report.expected.minutes[TOO_HOT].value
    longer = ""
    if longer_min >= LEAST_HOT_MIN:
        longer = f", but above its band for {display.hours_and_minutes(longer_min)} longer"
    return (
        f"Tonight would help: {change_words(tried.change)} "
        f"(peak {display.temperature(tried.peak_c, units)}, "
        f"{display.temperature_difference(tried.gain_k, units)} lower{longer})."
    )


def _no_help(report: TomorrowReport) -> str:
    if report.expected.minutes[TOO_HOT].value < LEAST_HOT_MIN:
        return "Nothing has to be done tonight against heat."
    tried = "Other lamp hours, fewer, and more air at night"
    if report.outdoors.is_used:
        tried = "Other lamp hours, fewer, more air at night and an aired room"
    least = display.temperature_difference(LEAST_GAIN_K, report.settings.units)
    return f"{tried} were tried: none lowers the peak by {least}."


def _band_rows(report: TomorrowReport) -> list[list[str]]:
    rows = []
    before = report.evening.before
    for kind in KINDS:
        estimated = report.expected.minutes[kind]
        today_min = None if before is None else before.minutes[kind]
        if max(estimated.value, today_min or 0.0) < _LEAST_MIN:
            continue
        rows.append(
            [
                too_words(*kind),
                "–" if today_min is None else display.hours_and_minutes(today_min),
                display.hours_and_minutes(estimated.value),
                _interval(estimated),
            ]
        )
    return rows


def _interval(minutes: Estimated) -> str:
    low, high = f"{minutes.low / 60.0:.0f}", f"{minutes.high / 60.0:.0f}"
    return f"{low} h" if low == high else f"{low} to {high} h"


def _tonight_lines(report: TomorrowReport, width: int) -> list[str]:
    if not report.tonight:
        return wrapped(_no_help(report), width)
    least = display.temperature_difference(LEAST_GAIN_K, report.settings.units)
    rows = [_tonight_row(report, tried) for tried in report.tonight]
    headings = ("", "peak", "too hot", "power", "light")
    return [
        "What would help tonight",
        *table_lines(headings, rows, width, align="<>>>>"),
        *wrapped(
            f"Each was run on the same tent; what lowers the peak by less than {least} is left "
            "out. Power and light are until the end of tomorrow.",
            width,
        ),
    ]


def _tonight_row(report: TomorrowReport, tried: Tried) -> list[str]:
    return [
        change_words(tried.change),
        display.temperature(tried.peak_c, report.settings.units),
        display.hours_and_minutes(tried.hot_min),
        _signed(display.energy(abs(tried.more_kwh)), tried.more_kwh, 0.005),
        _signed(f"{abs(tried.more_light_h):.1f} h", tried.more_light_h, 0.05),
    ]


def _signed(text: str, value: float, least: float) -> str:
    if abs(value) < least:
        return "same"
    return f"{'+' if value > 0.0 else '−'}{text}"


def change_words(change: TonightChange) -> str:
    """What to do."""
    if change.what == "lamp_shifted":
        return f"lamp from {change.to.replace('–', ' to ')}"
    if change.what == "lamp_shortened":
        return f"lamp only from {change.to.replace('–', ' to ')}"
    if change.what == "night_speed":
        return f"night_speed {change.to}"
    return "room's windows open while it is cooler outdoors"


def grounds(report: TomorrowReport) -> list[str]:
    """What it rests on, with the doubts."""
    units, expected = report.settings.units, report.expected
    sentences = [
        f"{report.model_words[0].upper()}{report.model_words[1:]}, run by the daemon's own "
        "decisions.",
        _room_words(report),
    ]
    hindcasts = expected.hindcasts
    off_k = peak_rms_k(hindcasts, with_outdoors=report.outdoors.is_used)
    today_k = as_today_rms_k(hindcasts)
    if off_k is not None and len(hindcasts) >= LEAST_HINDCASTS:
        today = ""
        if today_k is not None:
            today = f', "as today" by {display.temperature_difference(today_k, units)}'
        sentences.append(
            f"The last {len(hindcasts)} days' forecasts, worked out again from the record, missed "
            f"the peak by about {display.temperature_difference(off_k, units)}"
            f"{today}. The intervals come from them."
        )
    else:
        sentences.append(
            f"Fewer than {LEAST_HINDCASTS} days can be checked so far: ± "
            f"{display.temperature_difference(FIRST_HALF_K, units)} and ± 6 h are assumptions, "
            "wider where a checked day was missed by more."
        )
    if report.is_old:
        zone = ZoneInfo(report.settings.place.timezone)
        newest = dt.datetime.fromtimestamp(report.until_s, zone)
        sentences.append(
            f"The newest reading is of {newest:%-d %B %Y %H:%M}; tomorrow is the day after it."
        )
    sentences += [f"{note[0].upper()}{note[1:]}." for note in report.outdoors.notes]
    return sentences


def _room_words(report: TomorrowReport) -> str:
    forecast, shares = report.expected.forecast, report.expected.shares
    model = forecast.temperature.model
    counts = f'it counts {100.0 * shares.temperature:.0f} %, "as today" the rest'
    days = f"{report.room_days:.0f} days of the record"
    if report.outdoors.is_used and model.share is not None:
        error = display.temperature_difference(OUTDOOR_ERROR_K, report.settings.units)
        return (
            f"The room as learned from {days} and {report.outdoors.name}: "
            f"{100.0 * model.share:.0f} % of a lasting change outdoors comes through, with a time "
            f"constant of {model.time_constant_h:.0f} h; {counts}. A forecast of outdoors is taken "
            f"to be off by {error}."
        )
    why = "No forecast of outdoors was given (forecast.file, or --weather)"
    if report.outdoors.why_not is not None:
        why = f"The forecast of outdoors is not used: {report.outdoors.why_not}"
    return (
        f"{why}. So the room is taken to go on as on its last days, which is hardly better than "
        f'"as today": learned from {days}, {counts}.'
    )
