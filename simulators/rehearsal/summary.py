"""The outcome of a rehearsal in plain words and the user's units."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from controller import display
from controller.control import Rule
from controller.wording import rule_words
from simulators.rehearsal.outcome import FanUse, Minutes, Outcome

if TYPE_CHECKING:
    from controller.config import Settings

_NAMES = {"temperature": "Temperature", "humidity": "Humidity", "vpd": "VPD"}
_COUNTED = (Rule.TOO_HOT, Rule.TOO_HUMID, Rule.TOO_COLD, Rule.TOO_DRY)


def instant_words(wall_s: float, zone: ZoneInfo) -> str:
    """Such as "Fri 19 July 2013, 16:40"."""
    time = dt.datetime.fromtimestamp(wall_s, zone)
    return f"{time:%a} {time.day} {time:%B %Y, %H:%M}"


def hours_words(minutes: float) -> str:
    """A length [min] as "45 min", "7 h 30 min" or "312 h"."""
    return display.hours_and_minutes(minutes)


def days_words(first: dt.date, count: int) -> str:
    """Such as "15 July 2013 to 21 July 2013 (7 days)"."""
    words = f"{first.day} {first:%B %Y}"
    if count == 1:
        return words
    last = first + dt.timedelta(days=count - 1)
    return f"{words} to {last.day} {last:%B %Y} ({count} days)"


def table(rows: Sequence[Sequence[str]], gap: str = "  ") -> list[str]:
    """Lines with columns lined up: the first to the left, the others to the right."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        gap.join(
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


# More starts of a relay a day are worth a word (engineering judgement, no source).
_MANY_STARTS = 40.0


def band_words(quantity: str, band: tuple[float, float], units: display.Units) -> str:
    """Such as "21.1 °C to 23.9 °C"."""
    low, high = band
    if quantity == "temperature":
        return f"{display.temperature(low, units)} to {display.temperature(high, units)}"
    if quantity == "humidity":
        return f"{display.humidity(low)} to {display.humidity(high)}"
    return f"{display.vpd(low)} to {display.vpd(high)}"


def _band_rows(outcome: Outcome, settings: Settings) -> list[list[str]]:
    rows = [["", "", "below", "in band", "above", "band"]]
    for name, words in _NAMES.items():
        for phase, bands, label in (
            (outcome.day, settings.targets.day, "lit"),
            (outcome.night, settings.targets.night, "dark"),
        ):
            minutes = phase[name]
            if minutes.total <= 0.0:
                continue
            field = {"temperature": "temperature_c", "humidity": "humidity_pct", "vpd": "vpd_pa"}
            rows.append(
                [
                    words,
                    label,
                    *_shares(minutes),
                    band_words(name, getattr(bands, field[name]), settings.units),
                ]
            )
            words = ""
    return rows


def _shares(minutes: Minutes) -> list[str]:
    return [
        f"{hours_words(part)} ({part / minutes.total:3.0%})" if part else "–"
        for part in (minutes.below, minutes.within, minutes.above)
    ]


def _use_words(use: FanUse, settings: Settings) -> str:
    price, currency = settings.energy.price_per_kwh, settings.energy.currency
    words = display.energy(use.energy_kwh)
    if price is not None:
        words += f", {display.money(use.energy_kwh * price, currency)}"
    return words


def _fan_lines(outcome: Outcome, settings: Settings) -> list[str]:
    fan = outcome.fan
    starts = f"{fan.starts} start" + ("" if fan.starts == 1 else "s")
    return [
        f"Fan        {hours_words(fan.hours * 60)}, {starts}, "
        f"mean speed {display.speed(outcome.mean_speed)}: {_use_words(fan, settings)}",
        f"           at full speed all the time: {_use_words(outcome.always_on, settings)}",
        f"           by the schedule alone: {_use_words(outcome.schedule_alone, settings)}",
    ]


def _leaf_lines(outcome: Outcome, units: display.Units) -> list[str]:
    if outcome.leaves is None:
        return []
    lines: list[str] = []
    for name, phase in (("lit", outcome.leaves.lit), ("dark", outcome.leaves.dark)):
        warmth, vpd = phase.leaf_c, phase.leaf_vpd_pa
        if warmth.count:
            lines.append(
                f"{'' if lines else 'Leaves':<11}{name + ',':<6}"
                f"{display.temperature(warmth.mean, units)} on average "
                f"({display.temperature(warmth.lowest, units)} to "
                f"{display.temperature(warmth.highest, units)}), leaf VPD "
                f"{display.vpd(vpd.mean)} ({display.vpd(vpd.lowest)} to "
                f"{display.vpd(vpd.highest)})"
            )
    return lines


def _override_lines(outcome: Outcome) -> list[str]:
    counted = [(rule, outcome.engaged[rule]) for rule in _COUNTED if outcome.engaged[rule]]
    if counted:
        engaged = ", ".join(f"{rule_words(rule.value)} {_times(count)}" for rule, count in counted)
    else:
        engaged = "none was needed"
    lines = [f"Overrides  {engaged}"]
    if outcome.locked_out_min:
        lines.append(
            f"           outside air could not help for {hours_words(outcome.locked_out_min)}: "
            "it was no cooler or no drier than the tent's"
        )
    if outcome.lamp_cut_min:
        lines.append(f"Lamp       cut for heat for {hours_words(outcome.lamp_cut_min)}")
    if outcome.failsafe_min:
        lines.append(f"Failsafe   no reading to trust for {hours_words(outcome.failsafe_min)}")
    return lines


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def outcome_lines(
    outcome: Outcome,
    settings: Settings,
    others: Sequence[tuple[str, Outcome]] = (),
) -> list[str]:
    """What `lungwort rehearse` prints below its heading.

    Parameters
    ----------
    outcome : Outcome
        That of the config.
    settings : Settings
        The tent's.
    others : sequence of (str, Outcome)
        What would have come of other policies on the same days, with their names.
    """
    units, zone = settings.units, ZoneInfo(settings.place.timezone)
    lines = [*table(_band_rows(outcome, settings)), ""]
    when = instant_words(outcome.peak.at_s, zone)
    peak = f"{display.temperature(outcome.peak.value, units)} on {when}"
    if outcome.heat_warning_min:
        peak += (
            f"; above {display.temperature(settings.targets.heat_warning_c, units)} "
            f"for {hours_words(outcome.heat_warning_min)}"
        )
    trough = outcome.trough
    lines.append(f"Hottest    {peak}")
    lines.append(
        f"Coldest    {display.temperature(trough.value, units)} on "
        f"{instant_words(trough.at_s, zone)}"
    )
    lines += _leaf_lines(outcome, units)
    lines += _fan_lines(outcome, settings)
    lines += _override_lines(outcome)
    if others:
        lines += ["", *table(_policy_rows([("this config", outcome), *others], settings))]
    lines += [f"Note       {note}" for note in (*outcome.notes, *_wear(outcome, settings))]
    return lines


def _wear(outcome: Outcome, settings: Settings) -> list[str]:
    """Whether a relay switches so often that it is worth a word."""
    a_day = outcome.fan.starts / max(1.0, (outcome.until_s - outcome.start_s) / 86_400.0)
    if settings.fan.drive != "relay" or a_day < _MANY_STARTS:
        return []
    return [
        f"{a_day:.0f} starts a day: wider hystereses or a longer fan.min_on and fan.min_off "
        "spare fan and relay"
    ]


def _policy_rows(outcomes: Sequence[tuple[str, Outcome]], settings: Settings) -> list[list[str]]:
    rows = [["In band", *_NAMES.values(), "hottest", "energy"]]
    for name, outcome in outcomes:
        rows.append(
            [
                name,
                *(f"{outcome.minutes(quantity).share_within:.0%}" for quantity in _NAMES),
                display.temperature(outcome.peak.value, settings.units),
                display.energy(outcome.fan.energy_kwh),
            ]
        )
    return rows
