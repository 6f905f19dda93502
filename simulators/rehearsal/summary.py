"""The outcome of a rehearsal in plain words and the user's units."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from controller import display
from controller.control.override_state import OVERRIDE_RULES
from controller.display import hours_and_minutes
from controller.fire_hazard import DANGEROUS_C
from controller.review.phrases import excess_parts
from controller.tables import fact_lines, table_lines, wrapped
from controller.wording import FAN_LAWS, rule_words
from simulators.rehearsal.counts import FanUse, Minutes
from simulators.rehearsal.outcome import Outcome

if TYPE_CHECKING:
    from controller.config import Settings

_NAMES = {"temperature": "Temperature", "humidity": "Humidity", "vpd": "VPD"}
# Below the band, above it.
TOO_WORDS = {
    "temperature": ("too cold", "too hot"),
    "humidity": ("too dry", "too humid"),
    "vpd": ("VPD too low", "VPD too high"),
}
_COUNTED = OVERRIDE_RULES


def instant_words(wall_s: float, zone: ZoneInfo) -> str:
    """Such as "Fri 19 July 2013, 16:40"."""
    time = dt.datetime.fromtimestamp(wall_s, zone)
    return f"{time:%a} {time.day} {time:%B %Y, %H:%M}"


def days_words(first: dt.date, count: int) -> str:
    """Such as "15 July 2013 to 21 July 2013 (7 days)"."""
    words = f"{first.day} {first:%B %Y}"
    if count == 1:
        return words
    last = first + dt.timedelta(days=count - 1)
    return f"{words} to {last.day} {last:%B %Y} ({count} days)"


# More starts of a relay a day are worth a word (engineering judgement, no source).
_MANY_STARTS = 40.0


def band_words(quantity: str, band: tuple[float, float], units: display.Units) -> str:
    """Such as "21.1 to 23.9 °C"."""
    show: dict[str, Callable[[float], str]] = {
        "temperature": lambda c: display.temperature(c, units),
        "humidity": display.humidity,
        "vpd": display.vpd,
    }
    low, high = map(show[quantity], band)
    return f"{low.rpartition(' ')[0]} to {high}"


def _band_rows(outcome: Outcome, settings: Settings) -> list[list[str]]:
    rows = []
    for name, words in _NAMES.items():
        for phase, bands, label in (
            (outcome.day, settings.targets.day, "lit"),
            (outcome.night, settings.targets.night, "dark"),
        ):
            minutes = phase[name]
            if minutes.total <= 0.0:
                continue
            field = {"temperature": "temperature_c", "humidity": "humidity_pct", "vpd": "vpd_pa"}
            band = band_words(name, getattr(bands, field[name]), settings.units)
            rows.append([f"{words}, {label}", *_shares(minutes), band])
    return rows


def _shares(minutes: Minutes) -> list[str]:
    return [
        f"{short_hours_words(part)} ({part / minutes.total:4.0%})" if part else "–"
        for part in (minutes.below, minutes.within, minutes.above)
    ]


def short_hours_words(minutes: float) -> str:
    """A length for a narrow column: "45 min", "7.5 h" or "112 h"."""
    if minutes < 59.5:
        return f"{minutes:.0f} min"
    return f"{minutes / 60.0:.1f} h" if minutes < 597.0 else f"{minutes / 60.0:.0f} h"


def _use_words(use: FanUse, settings: Settings) -> str:
    price, currency = settings.energy.price_per_kwh, settings.energy.currency
    words = display.energy(use.energy_kwh)
    if price is not None:
        words += f", {display.money(use.energy_kwh * price, currency)}"
    return words


def _fan_facts(outcome: Outcome, settings: Settings) -> Iterator[tuple[str, str]]:
    fan = outcome.fan
    starts = f"{fan.starts} start" + ("" if fan.starts == 1 else "s")
    yield (
        "Fan",
        f"{hours_and_minutes(fan.hours * 60)}, {starts}, "
        f"mean speed {display.speed(outcome.mean_speed)}: "
        f"{_use_words(fan, settings)}",
    )
    yield "", f"at full speed all the time: {_use_words(outcome.always_on, settings)}"
    yield "", f"by the schedule alone: {_use_words(outcome.schedule_alone, settings)}"


def _leaf_facts(outcome: Outcome, units: display.Units) -> Iterator[tuple[str, str]]:
    if outcome.leaves is None:
        return
    label = "Leaves"
    for name, phase in (("lit", outcome.leaves.lit), ("dark", outcome.leaves.dark)):
        warmth, vpd = phase.leaf_c, phase.leaf_vpd_pa
        if warmth.count:
            yield (
                label,
                f"{name}: {display.temperature(warmth.mean, units)} on average "
                f"({band_words('temperature', (warmth.lowest, warmth.highest), units)}), "
                f"leaf VPD {display.vpd(vpd.mean)} "
                f"({band_words('vpd', (vpd.lowest, vpd.highest), units)})",
            )
            label = ""


def _override_facts(outcome: Outcome) -> Iterator[tuple[str, str]]:
    counted = [(rule, outcome.engaged[rule]) for rule in _COUNTED if outcome.engaged[rule]]
    if counted:
        engaged = ", ".join(f"{rule_words(rule.value)} {_times(count)}" for rule, count in counted)
    else:
        engaged = "none was needed"
    yield "Overrides", engaged
    if outcome.locked_out_min:
        yield (
            "",
            f"outside air could not help for {hours_and_minutes(outcome.locked_out_min)}: "
            "it was no cooler or no drier than the tent's",
        )
    if outcome.lamp_cut_min:
        yield "Lamp", f"cut for heat for {hours_and_minutes(outcome.lamp_cut_min)}"
    if outcome.failsafe_min:
        yield (
            "Failsafe",
            f"no reading to trust for {hours_and_minutes(outcome.failsafe_min)}",
        )


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def outcome_lines(
    outcome: Outcome,
    settings: Settings,
    others: Sequence[tuple[str, Outcome]] = (),
    width: int = 80,
) -> list[str]:
    """What `lungwort rehearse` prints below its verdict.

    Parameters
    ----------
    outcome : Outcome
        That of the config.
    settings : Settings
        The tent's.
    others : sequence of (str, Outcome)
        What would have come of other policies on the same days, with their names.
    width : int
        Columns to fill.
    """
    headings = ["", "below", "in band", "above", "band"]
    lines = [*table_lines(headings, _band_rows(outcome, settings), width), ""]
    lines += fact_lines(_facts(outcome, settings), width)
    if others:
        lines += ["", *_policy_lines([("this config", outcome), *others], settings, width)]
    notes = [("Note", note) for note in (*outcome.notes, *_wear(outcome, settings))]
    return lines + fact_lines(notes, width)


def _facts(outcome: Outcome, settings: Settings) -> Iterator[tuple[str, str]]:
    units, zone = settings.units, ZoneInfo(settings.place.timezone)
    peak, trough = outcome.peak, outcome.trough
    words = f"{display.temperature(peak.value, units)} on {instant_words(peak.at_s, zone)}"
    if outcome.heat_warning_min:
        words += (
            f"; above {display.temperature(settings.targets.heat_warning_c, units)} "
            f"for {hours_and_minutes(outcome.heat_warning_min)}"
        )
    yield "Hottest", words
    if peak.value > DANGEROUS_C:
        dangerous = display.temperature(DANGEROUS_C, units)
        yield (
            "",
            f"a fire hazard: cables, drivers and fabric are made for less than {dangerous}; a "
            "weaker lamp or a stronger fan, and a thermostat of its own that cuts the lamp",
        )
    words = f"{display.temperature(trough.value, units)} on {instant_words(trough.at_s, zone)}"
    yield "Coldest", words
    yield from _leaf_facts(outcome, units)
    yield from _fan_facts(outcome, settings)
    yield from _override_facts(outcome)


def _wear(outcome: Outcome, settings: Settings) -> list[str]:
    """Whether a relay switches so often that it is worth a word."""
    a_day = outcome.fan.starts / max(1.0, (outcome.until_s - outcome.start_s) / 86_400.0)
    if settings.fan.drive != "relay" or a_day < _MANY_STARTS:
        return []
    return [
        f"{a_day:.0f} starts a day: wider hystereses or a longer fan.min_on and fan.min_off "
        "spare fan and relay"
    ]


def _policy_lines(
    outcomes: Sequence[tuple[str, Outcome]], settings: Settings, width: int
) -> list[str]:
    """Share in band and excess of each quantity under each policy, and what the fan used."""
    units = settings.units
    excess = [excess_parts(name, 0.0, units)[1] for name in _NAMES]
    headings = ["In band", "temp.", "humidity", "VPD", *excess, "hottest", "energy"]
    rows = []
    for name, outcome in outcomes:
        minutes = {quantity: outcome.minutes(quantity) for quantity in _NAMES}
        rows.append(
            [
                name,
                *(f"{m.share_within:.0%}" for m in minutes.values()),
                *(excess_parts(q, m.hours_below + m.hours_above, units)[0]
                  for q, m in minutes.items()),
                display.temperature(outcome.peak.value, units),
                display.energy(outcome.fan.energy_kwh),
            ]
        )  # fmt: skip
    degrees, *others = excess
    note = (
        f"{degrees}, {' and '.join(others)}: how far temperature, humidity and VPD were out of "
        "band, times for how long."
    )
    if settings.fan.drive != "relay":
        note += f" {FAN_LAWS}"
    return [*table_lines(headings, rows, width), *wrapped(note, width, rest="  ")]


def outcome_json(outcome: Outcome, settings: Settings) -> dict[str, object]:
    """Give the figures as one object, SI units in the keys."""
    zone = ZoneInfo(settings.place.timezone)
    figures = outcome.to_json(settings.energy.price_per_kwh)
    return {
        "from": display.rfc3339(outcome.start_s, zone),
        "until": display.rfc3339(outcome.until_s, zone),
        **figures,
        "peak_time": display.rfc3339(outcome.peak.at_s, zone),
        "trough_time": display.rfc3339(outcome.trough.at_s, zone),
        "currency": settings.energy.currency,
    }
