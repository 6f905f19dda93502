"""Configs on the same days: which of them no other beats, and what differs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from controller import display
from controller.control.override_state import OVERRIDE_RULES
from controller.display import hours_and_minutes
from controller.review.phrases import excess_words
from controller.tables import table_lines, wrapped
from controller.wording import rule_words
from simulators.rehearsal.counts import HARM_PER, QUANTITIES
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.summary import TOO_WORDS

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.rehearsal.recorded import Fit

# Differences that are not worth a word: ten minutes a day, a tenth of a kelvin, a start a day, and
# as much of an excess as is half a kelvin-hour of harm a day.
_MINUTES_A_DAY = 10.0
_HARM_A_DAY = 0.5


def merits(outcome: Outcome) -> tuple[float, float, float]:
    """What configs are compared by, less being better: harm, energy, fan starts.

    By harm and not by the time out of band, which is the same for all where a room leaves the tent
    out of band all day. Rounded to half a kelvin-hour of harm, 10 Wh and one start a day: a model
    can't tell finer (engineering judgement, no source).
    """
    harm, energy_kwh, starts = _exact_merits(outcome)
    return round(harm / _HARM_A_DAY) * _HARM_A_DAY, round(energy_kwh, 2), float(round(starts))


def _exact_merits(outcome: Outcome) -> tuple[float, float, float]:
    """Harm, energy [kWh] and starts, all a day."""
    days = (outcome.until_s - outcome.start_s) / 86_400.0
    return outcome.harm / days, outcome.fan.energy_kwh / days, outcome.fan.starts / days


# How far two configs may be apart in these, a day, and yet be the same to a model.
_DOUBT = (_HARM_A_DAY, 0.01, 1.0)


def are_alike(outcomes: Sequence[Outcome]) -> bool:
    """Whether a model can't tell outcomes apart: to half a kelvin-hour of harm, 10 Wh and a start
    a day."""
    apart = (
        max(values) - min(values) for values in zip(*map(_exact_merits, outcomes), strict=True)
    )
    return all(value <= doubt for value, doubt in zip(apart, _DOUBT, strict=True))


def unbeaten(points: Sequence[tuple[float, ...]]) -> list[bool]:
    """Say of each point whether no other is at least as good in everything and better in something.

    Parameters
    ----------
    points : sequence of tuple of float
        Shape (n, m); less is better.

    Returns
    -------
    list of bool
        Shape (n,); True for the non-dominated ones.
    """
    return [not any(_beats(other, point) for other in points) for point in points]


def _beats(point: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return all(a <= b for a, b in zip(point, other, strict=True)) and point != other


def comparison_lines(
    columns: Sequence[tuple[str, Outcome]], settings: Settings, width: int = 80
) -> list[str]:
    """Give a table with one column an outcome."""
    units, price = settings.units, settings.energy.price_per_kwh
    headings = ["", *(name for name, _ in columns)]
    rows: list[list[str]] = []

    def row(label: str, value: Callable[[Outcome], str]) -> None:
        rows.append([label, *(value(outcome) for _, outcome in columns)])

    for name in QUANTITIES:
        for index, label in enumerate(TOO_WORDS[name]):
            minutes = [(o.minutes(name).below, o.minutes(name).above)[index] for _, o in columns]
            if any(minutes):
                too = label[0].upper() + label[1:]
                rows.append([too, *map(hours_and_minutes, minutes)])
                rows.append([f"{too}, excess", *(
                    excess_words(name, _excesses(o, name)[index], units) for _, o in columns
                )])  # fmt: skip
    row("In band, mean of all three", lambda o: f"{o.share_within:.0%}")
    row("Harm", lambda o: f"{o.harm:.1f}")
    row("Hottest", lambda o: display.temperature(o.peak.value, units))
    row("Coldest", lambda o: display.temperature(o.trough.value, units))
    row("Fan", lambda o: hours_and_minutes(o.fan.hours * 60.0))
    row("Starts", lambda o: str(o.fan.starts))
    row("Mean speed", lambda o: display.speed(o.mean_speed))
    row("Energy", lambda o: display.energy(o.fan.energy_kwh))
    if price is not None:
        currency = settings.energy.currency
        row("Cost", lambda o: display.money(o.fan.energy_kwh * price, currency))
    for rule in OVERRIDE_RULES:
        if any(o.engaged[rule] for _, o in columns):
            row(f"Override {rule_words(rule.value)}", lambda o, rule=rule: str(o.engaged[rule]))  # type: ignore[misc]
    # Modulated speeds are never locked out: noughts would say that outside air always helps.
    if any(o.locked_out_min for _, o in columns):
        row("Outside air no help", lambda o: hours_and_minutes(o.locked_out_min))
    return table_lines(headings, rows, width)


def difference_lines(before: Outcome, after: Outcome, settings: Settings, name: str) -> list[str]:
    """Say what a config changes against another, both simulated."""
    units = settings.units
    days = (after.until_s - after.start_s) / 86_400.0
    changes = []
    for quantity in QUANTITIES:
        was, now = before.minutes(quantity), after.minutes(quantity)
        for label, change in zip(
            TOO_WORDS[quantity], (now.below - was.below, now.above - was.above), strict=True
        ):
            if abs(change) >= _MINUTES_A_DAY * days:
                changes.append(f"{hours_and_minutes(abs(change))} {_more(change)} {label}")
        for label, was_h, now_h in zip(
            TOO_WORDS[quantity],
            _excesses(before, quantity),
            _excesses(after, quantity),
            strict=True,
        ):
            if HARM_PER[quantity] * abs(now_h - was_h) >= _HARM_A_DAY * days:
                excess = excess_words(quantity, abs(now_h - was_h), units)
                changes.append(f"{excess} {_more(now_h - was_h)} {label}")
    cooler = after.peak.value - before.peak.value
    if abs(cooler) >= 0.1:
        word = "higher" if cooler > 0.0 else "lower"
        changes.append(f"a peak {display.temperature_difference(abs(cooler), units)} {word}")
    hours = after.fan.hours - before.fan.hours
    if abs(hours) * 60.0 >= _MINUTES_A_DAY * days:
        changes.append(f"the fan {hours_and_minutes(abs(hours) * 60.0)} {_more(hours)}")
    starts = after.fan.starts - before.fan.starts
    if abs(starts) >= max(1.0, days):
        changes.append(f"{abs(starts)} {_more(starts, countable=True)} starts")
    energy = after.fan.energy_kwh - before.fan.energy_kwh
    if abs(energy) >= 0.005 * days:
        changes.append(f"{display.energy(abs(energy))} {_more(energy)}")
    if not changes:
        return [f"With {name} these days would have gone much the same."]
    return [
        f"With {name}, against what was in force (both simulated):",
        *(f"  {change}" for change in changes),
    ]


def _excesses(outcome: Outcome, quantity: str) -> tuple[float, float]:
    """Below and above the band [K·h, %·h or Pa·h]."""
    minutes = outcome.minutes(quantity)
    return minutes.hours_below, minutes.hours_above


def _more(change: float, *, countable: bool = False) -> str:
    if change > 0.0:
        return "more"
    return "fewer" if countable else "less"


def fit_lines(fit: Fit, settings: Settings, width: int = 80) -> list[str]:
    """Say how far the model was from the record."""
    if not fit.count:
        return []
    units = settings.units
    mean = display.temperature_difference(abs(fit.mean_k), units)
    side = "above" if fit.mean_k >= 0.0 else "below"
    pct_side = "above" if fit.mean_pct >= 0.0 else "below"
    text = (
        f"The model: simulated as it was, the tent is on average {mean} {side} the recorded "
        f"temperature (typically {display.temperature_difference(fit.rms_k, units)} off) and "
        f"{abs(fit.mean_pct):.1f} % {pct_side} the recorded humidity "
        f"(typically {fit.rms_pct:.1f} % off)."
    )
    return ["", *wrapped(text, width, rest="  ")]
