"""The tables of a review, made once: columns, and rows of typed cells; the views draw them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller import display
from controller.display import hours_and_minutes
from controller.review.excursions import KINDS
from controller.review.overrides import Override
from controller.review.period import short_date
from controller.review.phrases import NAMES
from controller.review.quality import ActiveSpan
from controller.review.report import Review
from controller.review.views.cause_words import (
    override_effect,
    override_reason,
    speed_effect_words,
)
from controller.review.views.chart_events import ChartEvent
from controller.review.views.review_words import missing_words
from controller.review.views.table_cells import (
    Column,
    Cost,
    Energy,
    Length,
    Moment,
    Table,
    TableRow,
    Text,
    Value,
)
from controller.wording import FAN_LAWS, assumed_power_words, rule_words

_QUANTITIES = tuple(dict.fromkeys(quantity for quantity, _ in KINDS))
# Of the learnings, so many are shown.
_NIGHTS_SHOWN = 9
_PRIORITIES = {"high": 2, "medium": 1}


# The first column, which names the rows.
_LABEL = Column(is_number=False)
# The moment of the value before it.
_AT = Column(is_number=False, joined=True)
_NOTHING = Text("–")
_BLANK = Text("")


def air_table(review: Review) -> Table:
    """Extremes and means."""
    columns = (
        _LABEL,
        Column("Lowest"),
        _AT,
        Column("Mean by day", on_terminal=False),
        Column("Mean by night", on_terminal=False),
        Column("Mean"),
        Column("Highest"),
        _AT,
    )
    rows = []
    for name in _QUANTITIES:
        figures = review.figures.quantity(name)
        rows.append(
            TableRow((
                Text(NAMES[name]),
                Value(name, figures.lowest),
                Moment(figures.lowest_ms),
                Value(name, figures.day.mean),
                Value(name, figures.night.mean),
                Value(name, figures.mean),
                Value(name, figures.highest),
                Moment(figures.highest_ms),
            ))
        )  # fmt: skip
    leaf, intake_c = review.figures.leaf_vpd, review.figures.intake_mean_c
    if leaf is not None:
        means = (Value("vpd", mean) for mean in (leaf.day_mean, leaf.night_mean, leaf.mean))
        label = Text("Leaf VPD, modelled")
        rows.append(TableRow((label, _NOTHING, _BLANK, *means, _NOTHING, _BLANK)))
    if intake_c is not None:
        cells = (_NOTHING, _BLANK, _BLANK, _BLANK, Value("temperature", intake_c))
        rows.append(TableRow((Text("Intake air"), *cells, _NOTHING, _BLANK), on_page=False))
    return Table("Lowest, mean and highest", columns, rows)


def bands_table(review: Review) -> Table:
    """Time below, in and above the bands."""
    missing = missing_words(review)
    shows_missing = review.figures.temperature.minutes.missing >= 0.5
    columns = (
        _LABEL,
        Column("Below"),
        Column("In band"),
        Column("Above"),
        Column(missing.capitalize(), on_terminal=shows_missing),
    )
    rows = []
    for name in _QUANTITIES:
        figures = review.figures.quantity(name)
        for phase, minutes in (("day", figures.day.minutes), ("night", figures.night.minutes)):
            if minutes.all >= 0.5:
                lengths = (minutes.below, minutes.within, minutes.above, minutes.missing)
                label = Text(f"{NAMES[name]} by {phase}")
                rows.append(TableRow((label, *map(Length, lengths))))
    return Table("Time below, in and above the band", columns, rows)


def _with_speeds(review: Review, override: Override) -> str:
    texts = override_effect(review, override), speed_effect_words(review, override)
    return "; ".join(filter(None, texts))


def overrides_table(review: Review, overrides: Sequence[Override]) -> Table:
    """Overrides with their reason and effect."""
    columns = (
        Column("Start", is_number=False),
        Column("Length"),
        Column("Reason", is_number=False),
        Column("Effect", is_number=False),
    )
    rows = [
        TableRow(
            (
                Moment(override.start_ms),
                Length(override.minutes, exact=True),
                Text(override_reason(review, override)),
                Text(_with_speeds(review, override)),
            ),
            override.minutes,
        )
        for override in overrides
    ]
    return Table("Overrides", columns, rows)


class RuleMinutes(NamedTuple):
    """How long the fan ran by a rule, and the share of its running time."""

    rule: str
    name: str
    minutes: float
    share: float


def running_by_rule(review: Review) -> list[RuleMinutes]:
    """The fan's running time by reason, the longest first."""
    by_rule = review.figures.fan.minutes_by_rule
    engaged = sorted({(o.rule, o.quantity) for o in review.overrides})
    names = {
        rule: " or ".join(rule_words(*pair) for pair in engaged if pair[0] == rule)
        or rule_words(rule)
        for rule in by_rule
    }
    whole = sum(minutes for _, minutes in sorted(by_rule.items(), key=lambda item: -item[1]))
    return [
        RuleMinutes(rule, names[rule], minutes, minutes / whole)
        for rule, minutes in sorted(by_rule.items(), key=lambda item: -item[1])
    ]


def energy_table(review: Review) -> Table:
    """Energy and money, against running without a controller."""
    energy = review.figures.energy
    is_priced = energy.lamp_cost is not None
    apart = "" if review.settings.quiet is None else ", quiet hours apart"
    columns = (
        _LABEL,
        Column("Energy", is_number=False),
        Column("Cost", joined=True, on_terminal=is_priced, on_page=is_priced),
    )
    rows = [
        TableRow((Text(what), Energy(kwh), Cost(cost)))
        for what, kwh, cost in (
            ("Lamp", energy.lamp_kwh, energy.lamp_cost),
            ("Fan", energy.fan_kwh, energy.fan_cost),
            (f"Fan, by the schedule alone{apart}", energy.schedule_kwh, energy.schedule_cost),
            ("Fan, at full speed all along", energy.always_on_kwh, energy.always_on_cost),
        )
        if kwh is not None
    ]
    return Table("Energy", columns, rows)


def fan_power_sentence(review: Review) -> str | None:
    """What the fan's energy goes by, where the config does not give its power."""
    energy = review.figures.energy
    if energy.fan_kwh is None:
        return "Fan: not known, the config gives neither its power nor its flow."
    sentences = []
    if energy.assumed_fan_w is not None:
        sentences.append(f"Fan: {assumed_power_words(energy.assumed_fan_w)}.")
    if review.settings.fan.drive != "relay":
        sentences.append(FAN_LAWS)
    return " ".join(sentences) or None


def alarm_words(alarm: ActiveSpan) -> str:
    """What is the matter, and its priority."""
    return f"{alarm.words} ({alarm.detail})" if alarm.detail else alarm.words


def alarms_table(review: Review, alarms: Sequence[ActiveSpan] | None = None) -> Table:
    """The alarms and how long each was active; those of high priority matter most."""
    columns = (
        Column("Alarm", is_number=False),
        Column("Since", is_number=False),
        Column("Active for", is_number=False),
        Column("Acknowledged", is_number=False),
    )
    rows = []
    for alarm in review.alarms if alarms is None else alarms:
        acknowledged = alarm.acknowledged_ms
        length = hours_and_minutes(alarm.minutes) + (", not cleared" if alarm.is_active else "")
        rows.append(
            TableRow(
                (
                    Text(alarm_words(alarm)),
                    Moment(alarm.start_ms),
                    Text(length),
                    _NOTHING if acknowledged is None else Moment(acknowledged),
                ),
                1e6 * _PRIORITIES.get(alarm.detail, 0) + alarm.minutes,
            )
        )
    return Table("Alarms", columns, rows)


def events_table(chart_events: Sequence[ChartEvent]) -> Table:
    """The numbered events of the chart."""
    columns = [Column(heading, is_number=False) for heading in ("No.", "Time", "What")]
    rows = [
        TableRow((Text(str(event.number)), Moment(event.at_ms), Text(event.words)))
        for event in chart_events
    ]
    return Table("Events, numbered as in the chart", columns, rows)


def hours_table(review: Review) -> Table:
    """The chart's values hour by hour, for those who cannot see it."""
    heads = ("Mean", "Highest", "Humidity", "VPD", "Intake", "Fan speed", "Lamp lit")
    rows = []
    for hour in review.hours:
        sums = hour.aggregates
        speed = display.speed(sums.speed_s / sums.covered_s) if sums.covered_s else "–"
        lit = display.duration(round(sums.lamp_s / 60.0) * 60.0) if sums.lamp_s > 30 else "–"
        rows.append(
            TableRow((
                Moment(hour.start_ms, clock_only=True),
                Value("temperature", sums.temperature.mean),
                Value("temperature", sums.temperature_c.highest),
                Value("humidity", sums.humidity.mean),
                Value("vpd", sums.vpd.mean),
                Value("temperature", sums.intake.mean),
                Text(speed),
                Text(lit),
            ))
        )  # fmt: skip
    columns = (Column("Hour", is_number=False), *map(Column, heads))
    return Table("The day hour by hour", columns, rows)


def days_table(review: Review) -> Table:
    """A row a day."""
    any_missing = review.figures.temperature.minutes.missing >= 0.5
    columns = (
        Column("Day", is_number=False),
        Column("Lowest", on_terminal=False),
        Column("Mean"),
        Column("Highest"),
        _AT,
        Column("Too hot"),
        Column("Too humid"),
        Column("Mean VPD", on_terminal=False),
        Column("Fan ran"),
        Column("Energy", on_terminal=False),
        Column("Cost", joined=True, on_terminal=False),
        Column("Missing", on_terminal=any_missing),
    )
    rows = []
    for day, figures in zip(review.period.days, review.counted.days, strict=True):
        temperature = figures.temperature
        rows.append(
            TableRow((
                Text(short_date(day.date)),
                Value("temperature", temperature.lowest),
                Value("temperature", temperature.mean),
                Value("temperature", temperature.highest),
                Moment(temperature.highest_ms, clock_only=True),
                Length(temperature.minutes.above),
                Length(figures.humidity.minutes.above),
                Value("vpd", figures.vpd.mean),
                Length(figures.fan.hours * 60.0),
                Energy(figures.energy.total_kwh),
                Cost(figures.energy.total_cost),
                Length(temperature.minutes.missing),
            ))
        )  # fmt: skip
    return Table("Day by day", columns, rows)


def learned_flow_table(review: Review) -> Table:
    """What the fan moved, as learned: some nights, spread evenly, the first and the last among."""
    flows = review.learned_flows
    shown = min(len(flows), _NIGHTS_SHOWN)
    chosen = [flows[round(n * (len(flows) - 1) / (shown - 1))] for n in range(shown)]
    columns = (Column("Learned on", is_number=False), Column("Flow"), Column("90 % interval"))
    rows = [
        TableRow((
            Text(short_date(review.period.local(flow.at_ms).date())),
            Text(f"{100.0 * flow.share:.0f} %"),
            Text(f"{100.0 * flow.low:.0f} – {100.0 * flow.high:.0f} %"),
        ))
        for flow in chosen
    ]  # fmt: skip
    return Table("The fan's flow, as learned", columns, rows)


def learned_flow_note(review: Review) -> list[str]:
    """What the figures of `learned_flow_table` are."""
    nights = len(review.learned_flows)
    if not nights:
        return []
    note = (
        "At full speed, over what the config's fan, duct and filter promise; each learned from the "
        "days before"
    )
    if nights > _NIGHTS_SHOWN:
        note += f"; {_NIGHTS_SHOWN} of {nights} nights, --json has them all"
    return [f"{note}."]
