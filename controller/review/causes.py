"""Why a quantity was out of band: only what the record shows to have held, never a guess."""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from controller import air
from controller.review.cause_conditions import COLUMNS, FULL_SPEED, PEAKS, RULES, conditions
from controller.review.excursions import KINDS, Cause
from controller.review.side_by_side import side_by_side
from controller.review.source import LIT, RecordSource

if TYPE_CHECKING:
    from controller.review.deviations import Deviation
    from controller.review.excursions import Excursion
    from controller.review.overrides import Override
    from controller.review.quality import Quality

# From and until [Unix ms].
Stretch = tuple[float, float]

# A cause is named once it held this long [min]: one reading.
_LEAST_MINUTES = 0.99
# The table of saturation pressures: tenths of a kelvin, interpolated (error below 2e-6).
_FIRST_C, _LAST_C = -60, 99


# Which deviation is a cause, its code, and of what.
_DEVIATIONS: dict[str, tuple[str, frozenset[tuple[str, str]]]] = {
    "less_air": (
        "less_air_than_expected",
        frozenset({("temperature", "above"), ("humidity", "above"), ("vpd", "below")}),
    ),
    "little_rise": (
        "tent_open_or_lamp_dark",
        frozenset(KINDS) - {("temperature", "above")},
    ),
    "reduced_transpiration": (
        "reduced_transpiration",
        frozenset({("temperature", "above"), ("humidity", "below"), ("vpd", "above")}),
    ),
    "sensor_drift": ("sensor_drift", frozenset()),  # what it reads wrong is no cause of the air's
    "heat_while_dark": (
        "heat_while_dark",
        frozenset({("temperature", "above"), ("humidity", "below"), ("vpd", "above")}),
    ),
    "lit_out_of_hours": (
        "lamp_lit_out_of_hours",
        frozenset({("temperature", "above"), ("humidity", "below"), ("vpd", "above")}),
    ),
}

_LAMP_IN_QUESTION = f"""
SELECT EXISTS (
    SELECT 1 FROM readings r CROSS JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
    WHERE r.at_ms > ?1 AND r.at_ms < ?2 AND m.id & 1
        AND r.tent_temperature_c > m.t_high
)
"""


def explain(
    sources: Sequence[RecordSource],
    excursions: Sequence[Excursion],
    overrides: Sequence[Override],
    fan_stalls: Sequence[Stretch],
    quality: Quality,
    deviations: Sequence[Deviation] = (),
) -> None:
    """Fill in each excursion's worst value and its causes.

    Parameters
    ----------
    sources : sequence of RecordSource
        One or more looks at the record; more share the work in threads.
    excursions : sequence of Excursion
        To be filled in.
    overrides : sequence of Override
        When each override acted or was locked out.
    fan_stalls : sequence of (float, float)
        When the fan was commanded and did not turn [Unix ms].
    quality : Quality
        When configs changed.
    deviations : sequence of Deviation
        When the tent was not as expected.
    """
    for source in sources:
        source.set_less_air((d.start_ms, d.end_ms) for d in deviations if d.kind == "less_air")
    shares: list[list[list[Excursion]]] = [[] for _ in sources]
    kinds: dict[tuple[str, str], list[Excursion]] = {}
    for excursion in excursions:
        kinds.setdefault((excursion.quantity, excursion.side), []).append(excursion)
    for kind in sorted(
        kinds.values(), key=lambda kind: -sum(excursion.minutes for excursion in kind)
    ):
        # The longest part first, always to whom has least to do.
        min(
            shares, key=lambda share: sum(excursion.minutes for part in share for excursion in part)
        ).append(kind)
    if len(sources) == 1:
        _explain_share(sources[0], shares[0], overrides)
    else:
        side_by_side(
            partial(_explain_share, sources[0], shares[0], overrides),
            partial(_explain_share, sources[1], shares[1], overrides),
        )
    for excursion in excursions:
        ends_ms = excursion.start_ms, excursion.end_ms
        excursion.causes.extend(_meanwhile("fan_not_turning", *ends_ms, fan_stalls))
        excursion.causes.extend(_from_config_changes(sources[0], excursion, quality))
        excursion.causes.extend(_from_deviations(excursion, deviations))
        excursion.causes[:] = added_up(excursion.causes)


def _explain_share(
    source: RecordSource, kinds: Sequence[Sequence[Excursion]], overrides: Sequence[Override]
) -> None:
    if any(kind[0].quantity != "temperature" for kind in kinds):
        _fill_saturation(source)
    is_hot = any((kind[0].quantity, kind[0].side) == ("temperature", "above") for kind in kinds)
    # Sizing is only asked where its answer could matter.
    ends = source.period.start_ms, source.beyond_ms
    if is_hot and source.value(_LAMP_IN_QUESTION, *ends):
        source.add_rises()
    for kind in kinds:
        _explain_kind(source, kind, overrides)


def _explain_kind(
    source: RecordSource, excursions: Sequence[Excursion], overrides: Sequence[Override]
) -> None:
    quantity, side = excursions[0].quantity, excursions[0].side
    tests = conditions(quantity, side)
    columns, query = _columns(tests, side), _query(tests, quantity, side)
    rule = RULES[quantity, side]
    own_overrides = [override for override in overrides if override.rule == rule]
    ends_ms = [override.end_ms for override in own_overrides]
    for excursion in excursions:
        ends = round(excursion.start_ms), round(excursion.end_ms)
        (row,) = source.select(columns, query, *ends, source.longest_ms, source.beyond_ms)
        excursion.extreme = row["extreme"]
        meanwhile = _overlapping(own_overrides, ends_ms, excursion)
        for cause in _from_readings(row, [code for code, _ in tests]):
            excursion.causes += _as_far_as_it_holds(cause, meanwhile)
        excursion.causes += list(_locked_out(excursion, meanwhile))
        excursion.causes += list(_waits(source, excursion, row, meanwhile))
    _date_extremes(source, excursions)


def _columns(tests: Sequence[tuple[str, str]], side: str) -> dict[str, str]:
    """What is asked of the readings of one excursion."""
    worst = "max" if side == "above" else "min"
    codes = [code for code, _ in tests]
    columns = {
        "extreme": f"{worst}(peak)",
        "acted_ms": "min(a) FILTER (WHERE acts)",
        "intake_c": f"{worst}(i)",
        "rise_k": "max(rise_k)",
        "config_and_lit": "max(key)",
        "slow_ms": "min(a) FILTER (WHERE is_slow)",
        "lamp_intake_c": "avg(i) FILTER (WHERE lamp_heat)" if "lamp_heat" in codes else "NULL",
    }
    for code in codes:
        columns |= {
            f"{code}_minutes": f"total(b - a) FILTER (WHERE {code}) / 60000.0",
            f"{code}_since_ms": f"min(a) FILTER (WHERE {code})",
            f"{code}_until_ms": f"max(b) FILTER (WHERE {code})",
        }
    return columns


def _query(tests: Sequence[tuple[str, str]], quantity: str, side: str) -> str:
    """The readings out of band in one excursion, with each test as a column of its code."""
    rule = RULES[quantity, side]
    named = ", ".join(f"({test}) AS {code}" for code, test in tests)
    saturation = ""
    if quantity != "temperature":
        saturation = (
            "LEFT JOIN saturation p ON p.k = CAST((r.tent_temperature_c + 100.0) * 10.0 AS INTEGER)"
            " LEFT JOIN saturation q"
            " ON q.k = CAST((r.intake_temperature_c + 100.0) * 10.0 AS INTEGER)"
        )
    # One execution an excursion, the inner query kept whole by its LIMIT: each test is then worked
    # out once a reading, and nothing is sorted.
    return f"""
    FROM (
        SELECT {PEAKS[quantity, side]} AS peak,
            r.intake_temperature_c AS i, m.rise_k AS rise_k, m.id AS key,
            r.rule = '{rule}' AS acts, r.fan_speed < {FULL_SPEED} AS is_slow,
            max(r.at_ms - r.interval_s * 1000.0, ?1) AS a, min(r.at_ms, ?2) AS b,
            {named}
        FROM readings r
        CROSS JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
        {saturation}
        WHERE r.at_ms > ?1 AND r.at_ms < min(?2 + ?3, ?4)
            AND r.at_ms - r.interval_s * 1000.0 < ?2
            AND {_out_of_band(quantity, side)}
        LIMIT -1 OFFSET 0
    )
    """


def _out_of_band(quantity: str, side: str) -> str:
    """A test in SQL: whether a reading was past its band on that side."""
    column, low, high = COLUMNS[quantity]
    return f"{column} > {high}" if side == "above" else f"{column} < {low}"


def _from_readings(row: dict[str, Any], codes: Sequence[str]) -> Iterator[Cause]:
    """The causes that single readings of the excursion show."""
    for code in codes:
        if row[f"{code}_minutes"] >= _LEAST_MINUTES:
            value = intake_c = None
            if code in ("intake_too_hot", "intake_too_cold"):
                value = row["intake_c"]
            elif code == "lamp_heat":
                value, intake_c = row["rise_k"], row["lamp_intake_c"]
            since_ms, until_ms = row[f"{code}_since_ms"], row[f"{code}_until_ms"]
            # While a clock was wrong some time was recorded twice.
            minutes = min(row[f"{code}_minutes"], (until_ms - since_ms) / 60_000.0)
            yield Cause(code, minutes, since_ms, until_ms, value, intake_c)


def _overlapping(
    overrides: Sequence[Override], ends_ms: Sequence[float], excursion: Excursion
) -> list[Override]:
    """Those that were engaged at some time in the excursion; they come in order of time."""
    overlapping = []
    for override in overrides[bisect_left(ends_ms, excursion.start_ms) :]:
        if override.start_ms > excursion.end_ms:
            break
        overlapping.append(override)
    return overlapping


# Causes that hold only where outside air could help, only while an override is engaged, and only
# while none is: an engaged one runs the fan at any hour.
_ONLY_WITH_HELP = ("quiet_hours", "outside_fan_hours", "fan_at_rest")
_ONLY_ENGAGED, _NEVER_ENGAGED = "fan_at_rest", "outside_fan_hours"


def _as_far_as_it_holds(cause: Cause, overrides: Sequence[Override]) -> Iterator[Cause]:
    """Cut a cause to the time in which the excursion's own overrides leave room for it."""
    if cause.code not in _ONLY_WITH_HELP:
        yield cause
        return

    def minutes_of(stretches: Sequence[Stretch]) -> float:
        parts = _meanwhile(cause.code, cause.since_ms, cause.until_ms, stretches)
        return sum(part.minutes for part in parts)

    engaged = [(override.start_ms, override.end_ms) for override in overrides]
    locked_out = [stretch for override in overrides for stretch in override.locked_out]
    whole = (cause.until_ms - cause.since_ms) / 60_000.0
    minutes = min(cause.minutes, whole - minutes_of(locked_out))
    if cause.code == _ONLY_ENGAGED:
        minutes = min(minutes, minutes_of(engaged))
    elif cause.code == _NEVER_ENGAGED:
        minutes = min(minutes, whole - minutes_of(engaged))
    if minutes >= _LEAST_MINUTES:
        yield cause._replace(minutes=minutes)


def _locked_out(excursion: Excursion, overrides: Sequence[Override]) -> Iterator[Cause]:
    """When the excursion's own override was locked out."""
    stretches = [stretch for override in overrides for stretch in override.locked_out]
    return _meanwhile("override_locked_out", excursion.start_ms, excursion.end_ms, stretches)


def _meanwhile(
    code: str, start_ms: float, end_ms: float, stretches: Sequence[Stretch]
) -> Iterator[Cause]:
    """The parts of the stretches that lie between two instants; overlaps count once."""
    at_ms = start_ms
    for began_ms, ended_ms in sorted(stretches):
        first, last = max(began_ms, at_ms), min(ended_ms, end_ms)
        if first < last:
            at_ms = last
            yield Cause(code, (last - first) / 60_000.0, first, last)


def _from_deviations(excursion: Excursion, deviations: Sequence[Deviation]) -> Iterator[Cause]:
    for deviation in deviations:
        code, kinds = _DEVIATIONS[deviation.kind]
        if (excursion.quantity, excursion.side) in kinds:
            expected = None
            if deviation.low_k is not None and deviation.high_k is not None:
                expected = (deviation.low_k, deviation.high_k)
            stretch = deviation.start_ms, deviation.end_ms
            for cause in _meanwhile(code, excursion.start_ms, excursion.end_ms, [stretch]):
                if cause.minutes >= _LEAST_MINUTES:
                    yield cause._replace(value=deviation.observed_k, expected_k=expected)


def _waits(
    source: RecordSource, excursion: Excursion, row: dict[str, Any], overrides: Sequence[Override]
) -> Iterator[Cause]:
    """How long the override took to act, as far as the fan was not at full speed anyway."""
    slow_ms = row["slow_ms"]
    acted = [max(override.start_ms, excursion.start_ms) for override in overrides]
    acted_ms = min([*acted, *([] if row["acted_ms"] is None else [row["acted_ms"]])], default=None)
    if excursion.start_ms <= source.period.start_ms or slow_ms is None:
        return
    settings = source.terms.in_force(row["config_and_lit"] // 2).settings
    watch = getattr(settings.overrides, excursion.quantity)
    delay_ms = 1000.0 * watch.delay_s
    interval_ms = 1000.0 * settings.record.interval_s
    until_ms = acted_ms
    if until_ms is None:
        if excursion.end_ms - excursion.start_ms > delay_ms + 2 * interval_ms:
            return  # it never acted, and its delay is not why
        until_ms = excursion.end_ms
    if slow_ms >= until_ms:
        return
    waited_ms = until_ms - excursion.start_ms
    by_delay_ms = min(waited_ms, delay_ms + interval_ms)
    if by_delay_ms / 60_000.0 >= _LEAST_MINUTES:
        end_ms = excursion.start_ms + by_delay_ms
        yield Cause(
            "override_delay", by_delay_ms / 60_000.0, excursion.start_ms, end_ms, watch.delay_s
        )
    off_s = _waited_out_s(source, excursion)
    if off_s is not None:
        rest_ms = max(waited_ms - by_delay_ms, interval_ms)
        yield Cause(
            "minimum_off_time", rest_ms / 60_000.0, excursion.start_ms, until_ms, off_s,
        )  # fmt: skip


_LIMITED = """
SELECT max(reason.value ->> 'limit')
FROM events e, json_each(CASE WHEN json_valid(e.data) THEN e.data END, '$.reasons') reason
WHERE e.name = 'fan.changed' AND e.at_ms >= ? AND e.at_ms <= ? AND e.data ->> 'speed' = 0
    AND reason.value ->> 'status' = 'limiting' AND reason.value ->> 'rule' <> 'quiet'
"""


def _waited_out_s(source: RecordSource, excursion: Excursion) -> float | None:
    """The longest time for which a fan had to rest in the excursion before it could start [s]."""
    ends = round(excursion.start_ms), round(excursion.end_ms)
    limit = source.value(_LIMITED, *ends)
    return float(limit) if isinstance(limit, int | float) else None


def _date_extremes(source: RecordSource, excursions: Sequence[Excursion]) -> None:
    """When each was furthest out, and past which limit: another phase has another one."""
    quantity, side = excursions[0].quantity, excursions[0].side
    _, low, high = COLUMNS[quantity]
    query = f"""
    SELECT r.at_ms, {high if side == "above" else low}
    FROM readings r CROSS JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
    WHERE r.at_ms > ? AND r.at_ms < ? AND {PEAKS[quantity, side]} = ?
        AND {_out_of_band(quantity, side)}
    ORDER BY r.at_ms LIMIT 1
    """
    for excursion in excursions:
        from_ms = round(excursion.start_ms)
        until_ms = round(excursion.end_ms) + source.longest_ms
        for at_ms, limit in source.rows(query, from_ms, until_ms, excursion.extreme):
            excursion.extreme_ms = min(float(at_ms), excursion.end_ms)
            excursion.limit = limit


def _from_config_changes(
    source: RecordSource, excursion: Excursion, quality: Quality
) -> Iterator[Cause]:
    for at_ms in quality.config_changes_ms:
        for day in source.period.days:
            began_today = day.start_ms <= excursion.start_ms < day.end_ms
            if began_today and day.start_ms <= at_ms <= excursion.end_ms:
                yield Cause("config_changed", 0.0, at_ms, at_ms)


def added_up(causes: Iterable[Cause]) -> list[Cause]:
    """One cause a code, the longest first: minutes added up, from the first moment to the last."""
    by_code: dict[str, Cause] = {}
    for cause in causes:
        known = by_code.get(cause.code)
        by_code[cause.code] = cause if known is None else Cause(
            cause.code,
            known.minutes + cause.minutes,
            min(known.since_ms, cause.since_ms),
            max(known.until_ms, cause.until_ms),
            *_further(known, cause),
        )  # fmt: skip
    return sorted(by_code.values(), key=lambda cause: -cause.minutes)


def _further(
    first: Cause, second: Cause
) -> tuple[float | None, float | None, tuple[float, float] | None]:
    """Value, intake and expectation of the one that went further."""
    known = [cause for cause in (first, second) if cause.value is not None]
    if not known:
        return None, first.intake_c, first.expected_k
    lowest = first.code in ("intake_too_cold", "tent_open_or_lamp_dark")
    chosen = (min if lowest else max)(known, key=lambda cause: cause.value or 0.0)
    return chosen.value, chosen.intake_c, chosen.expected_k


def _fill_saturation(source: RecordSource) -> None:
    """A table of saturation pressure over temperature, from the one formula there is."""
    values = [
        air.saturation_vapour_pressure_pa(tenth / 10.0)
        for tenth in range(_FIRST_C * 10, _LAST_C * 10 + 1)
    ]
    table = [
        (tenth + 1000, low, high - low)
        for tenth, low, high in zip(
            range(_FIRST_C * 10, _LAST_C * 10), values, values[1:], strict=False
        )
    ]
    source.run("DROP TABLE IF EXISTS temp.saturation")
    source.run("CREATE TEMP TABLE saturation (k INTEGER PRIMARY KEY, e REAL, slope REAL)")
    source.run(
        "INSERT INTO saturation SELECT value ->> 0, value ->> 1, value ->> 2 FROM json_each(?)",
        json.dumps(table),
    )
