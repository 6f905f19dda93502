"""Where the tent was not as its config lets expect: too little air, an open tent, a lamp at night.

Each is what the record shows against what `controller.expectation` reckons, with all of its doubt.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from controller.expectation import Air, ExpectedRise, Judgement, Seen, Settling, judge
from controller.review.fan_stalls import TURNING_RPM
from controller.review.source import LIT, RecordSource

if TYPE_CHECKING:
    from controller.timetable import ScheduleState, Timetable

DeviationKind = Literal[
    "less_air",
    "little_rise",
    "heat_while_dark",
    "lit_out_of_hours",
    "reduced_transpiration",
    "sensor_drift",
]

# How long each must last to be reported [min], and how far it must be past what is expected [K].
_LEAST: dict[DeviationKind, tuple[float, float]] = {
    "less_air": (15.0, 0.0),
    "little_rise": (60.0, 1.0),
    "heat_while_dark": (60.0, 0.0),
    "lit_out_of_hours": (15.0, 0.0),
}
# Heat in the dark must add up to half a kelvin for an hour [K·min]: a fan that runs leaves little
# of a lamp's, but that for hours; a kelvin for an hour may be a timer that is off.
_LEAST_HEAT_K_MIN = 30.0
# A shorter break does not end a stretch [ms].
_BRIDGED_MS = 3 * 60_000.0
# A tent short of air by day is slow to cool down: for so long nothing else need heat it [ms].
_SLOW_TO_COOL_MS = 12 * 3_600_000.0
# The tent settles from what was before: so far back the record is looked at [ms].
_LOOK_BACK_MS = 6 * 3_600_000
# Readings are taken together, the more the longer the period: (up to so many days, [min]).
_TOGETHER = ((2, 1), (40, 5), (1_000_000, 15))

_COLUMNS = {
    "end_ms": "max(r.at_ms)",
    "length_s": "total(r.interval_s)",
    "tent_c": "avg(r.tent_temperature_c)",
    "tent_pct": "avg(r.tent_humidity_pct)",
    "intake_c": "avg(r.intake_temperature_c)",
    "intake_pct": "avg(r.intake_humidity_pct)",
    "speed_s": "total(r.fan_speed * r.interval_s)",
    # What it ran at while it ran: a relay's share of a minute is no speed.
    "fastest": "max(iif(r.fan_on_s > 0, min(1, r.fan_speed * r.interval_s / r.fan_on_s), 0))",
    "is_lit": f"2 * total({LIT}) >= count(*)",
    "config_id": "max(r.config_id)",
    "fan_rpm": "min(r.fan_rpm)",
}
_READINGS = """
FROM readings r WHERE r.at_ms > ? AND r.at_ms < ? AND r.interval_s > 0
GROUP BY r.at_ms / ? ORDER BY max(r.at_ms)
"""


class Deviation(NamedTuple):
    """One stretch.

    Attributes
    ----------
    kind : str
        What it was.
    start_ms, end_ms : float
        Cut at the period's ends [Unix ms].
    observed_k : float or None
        Where it was furthest from what was expected: tent less intake [K].
    low_k, high_k : float or None
        What was expected then at least and at most [K].
    air_share : float or None
        Share of the expected air that would leave the tent as it was, about.
    moisture_g_kg : tuple of (float, float, float) or None
        Humidity ratio of the tent over its intake's where the tent as learned tells more: observed,
        and expected at least and at most [g/kg].
    water_share : float or None
        Share of their water that plants and soil gave off, about.
    sensor_off : tuple of (float, float) or None
        What the tent's sensor reads more than it did, beside the intake's [K], [%].
    compared_with : str
        ``"config"``, or the days that were learned from as an interval of ISO 8601; "" if neither.
    or_sensor : bool
        Whether a sensor that reads otherwise than it did would show the same.
    """

    kind: DeviationKind
    start_ms: float
    end_ms: float
    observed_k: float | None = None
    low_k: float | None = None
    high_k: float | None = None
    air_share: float | None = None
    moisture_g_kg: tuple[float, float, float] | None = None
    water_share: float | None = None
    sensor_off: tuple[float, float] | None = None
    compared_with: str = ""
    or_sensor: bool = False

    @property
    def minutes(self) -> float:
        """Its length in the period [min]."""
        return (self.end_ms - self.start_ms) / 60_000.0


@dataclass(slots=True)
class _Open:
    """A stretch that may go on."""

    start_ms: float
    end_ms: float
    by_k: float = 0.0
    k_min: float = 0.0
    worst: Judgement | None = None


@dataclass(slots=True)
class _Config:
    """What one config lets expect."""

    rise: ExpectedRise | None
    timetable: Timetable | None
    hours: ScheduleState | None = None

    def is_out_of_hours(self, at_s: float) -> bool:
        """Whether a lamp seen by a photocell should be dark."""
        if self.timetable is None:
            return False
        if self.hours is None or not self.hours.valid_from_s <= at_s < self.hours.valid_until_s:
            self.hours = self.timetable.state(at_s)
        return not self.hours.lamp_on


def find_deviations(source: RecordSource) -> list[Deviation]:
    """Every deviation of the period, in order of its start."""
    configs = {i: _config(source, i) for i in source.terms.by_config}
    if all(config.rise is None and config.timetable is None for config in configs.values()):
        return []
    period = source.period
    together = next(minutes for days, minutes in _TOGETHER if len(period.days) <= days)
    deviations: list[Deviation] = []
    ongoing: dict[DeviationKind, _Open] = {}
    for start_ms, end_ms, kinds in _looks(source, configs, together):
        for kind, judgement in kinds.items():
            _extend(ongoing, deviations, kind, start_ms, end_ms, judgement)
    for kind, last in ongoing.items():
        _close(deviations, kind, last)
    cut = [
        deviation._replace(
            start_ms=max(deviation.start_ms, float(period.start_ms)),
            end_ms=min(deviation.end_ms, float(period.end_ms)),
        )
        for deviation in deviations
        # One look alone shows no more than its edges.
        if deviation.minutes >= 2 * together
        and not (deviation.kind == "heat_while_dark" and _follows_less_air(deviation, deviations))
    ]
    return sorted(
        (deviation for deviation in cut if deviation.minutes >= 1.0),
        key=lambda deviation: deviation.start_ms,
    )


def _follows_less_air(dark: Deviation, deviations: Sequence[Deviation]) -> bool:
    """Whether a tent short of air by day may only be slow to cool down."""
    return any(
        deviation.kind == "less_air" and 0.0 <= dark.start_ms - deviation.end_ms <= _SLOW_TO_COOL_MS
        for deviation in deviations
    )


def _config(source: RecordSource, config_id: int) -> _Config:
    from controller.timetable import Timetable

    settings = source.terms.in_force(config_id).settings
    sees_lamp = settings.lamp.switched_by == "photocell"
    return _Config(
        ExpectedRise.from_settings(settings),
        Timetable.from_settings(settings) if sees_lamp else None,
    )


def _looks(
    source: RecordSource, configs: dict[int, _Config], together: int
) -> Iterator[tuple[float, float, dict[DeviationKind, Judgement | None]]]:
    """What each stretch of readings shows, from and until [Unix ms]."""
    period = source.period
    settling: Settling | None = None
    rows = source.select(
        _COLUMNS, _READINGS, period.start_ms - _LOOK_BACK_MS, source.beyond_ms, together * 60_000
    )
    config_id = -1
    for row in rows:
        if (row["config_id"] or 0) != config_id:
            config_id, settling = row["config_id"] or 0, None
        config = configs.get(config_id) or configs[0]
        end_ms = float(row["end_ms"])
        start_ms = end_ms - 1000.0 * row["length_s"]
        settling, judgement = _judged(config, settling, row)
        kinds: dict[DeviationKind, Judgement | None] = {}
        if judgement is not None:
            turns = row["fan_rpm"] is None or row["fan_rpm"] >= TURNING_RPM
            for kind, by_k in _showing(judgement, turns):
                if by_k > _LEAST[kind][1]:
                    kinds[kind] = judgement
        if row["is_lit"] and config.is_out_of_hours(0.0005 * (start_ms + end_ms)):
            kinds["lit_out_of_hours"] = None
        if kinds and end_ms > period.start_ms:
            yield start_ms, end_ms, kinds


def _judged(
    config: _Config, settling: Settling | None, row: dict[str, Any]
) -> tuple[Settling | None, Judgement | None]:
    if config.rise is None:
        return None, None
    seen = Seen(
        row["end_ms"] / 1000.0,
        _air(row["tent_c"], row["tent_pct"]),
        _air(row["intake_c"], row["intake_pct"]),
        min(1.0, row["speed_s"] / row["length_s"]),
        row["fastest"],
        bool(row["is_lit"]),
    )
    return judge(config.rise, settling, seen)


def _air(temperature_c: float | None, humidity_pct: float | None) -> Air | None:
    if temperature_c is None or humidity_pct is None:
        return None
    return Air(temperature_c, humidity_pct)


def _showing(judgement: Judgement, turns: bool) -> Iterator[tuple[DeviationKind, float]]:
    """What a judgement shows, and by how much [K]."""
    if judgement.has_less_air and turns:
        yield "less_air", judgement.excess_k
    if judgement.has_heat_while_dark:
        yield "heat_while_dark", judgement.excess_k
    if judgement.has_little_rise:
        yield "little_rise", judgement.lack_k


def _extend(
    ongoing: dict[DeviationKind, _Open],
    deviations: list[Deviation],
    kind: DeviationKind,
    start_ms: float,
    end_ms: float,
    judgement: Judgement | None,
) -> None:
    latest = ongoing.get(kind)
    if latest is not None and start_ms > latest.end_ms + _BRIDGED_MS:
        _close(deviations, kind, latest)
        latest = None
    if latest is None:
        latest = ongoing[kind] = _Open(start_ms, end_ms)
    latest.end_ms = end_ms
    if judgement is None:
        return
    by_k = max(judgement.excess_k, judgement.lack_k)
    latest.k_min += by_k * (end_ms - start_ms) / 60_000.0
    if latest.worst is None or by_k > latest.by_k:
        latest.by_k, latest.worst = by_k, judgement


def _close(deviations: list[Deviation], kind: DeviationKind, latest: _Open) -> None:
    if (latest.end_ms - latest.start_ms) / 60_000.0 < _LEAST[kind][0]:
        return
    if kind == "heat_while_dark" and latest.k_min < _LEAST_HEAT_K_MIN:
        return
    worst = latest.worst
    if worst is None:
        deviations.append(Deviation(kind, latest.start_ms, latest.end_ms))
        return
    deviations.append(
        Deviation(
            kind,
            latest.start_ms,
            latest.end_ms,
            worst.observed_k,
            worst.low_k,
            worst.high_k,
            worst.air_share,
            compared_with="config",
        )
    )
