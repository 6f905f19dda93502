"""Why a quantity was out of band: only what the record shows to have held, never a guess."""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.review.cause_conditions import (
    COLUMNS,
    FULL_SPEED,
    KINDS,
    PEAKS,
    RULES,
    conditions,
)
from controller.review.source import LIT, RecordSource, Row

if TYPE_CHECKING:
    from controller.review.deviations import Deviation
    from controller.review.excursions import Spell
    from controller.review.overrides import Override
    from controller.review.quality import Quality

# From and until [Unix ms].
Stretch = tuple[float, float]

# A cause is named once it held this long [min]: one reading.
_LEAST_MINUTES = 0.99
# The table of saturation pressures: tenths of a kelvin, interpolated (error below 2e-6).
_FIRST_C, _LAST_C = -60, 99


class Cause(NamedTuple):
    """Something that held during a spell.

    Attributes
    ----------
    code : str
        One of `controller.review.cause_conditions.CODES`.
    minutes : float
        How long it held in the spell [min].
    since_ms, until_ms : float
        From the first to the last moment it held [Unix ms].
    value : float or None
        A number to go with it: the intake's extreme, the delay, the rise; see there.
    intake_c : float or None
        Mean of the intake air while the lamp's heat was the cause [°C].
    expected_k : tuple of (float, float) or None
        Of a rise that was not as expected: what was to be expected at least and at most [K].
    """

    code: str
    minutes: float
    since_ms: float
    until_ms: float
    value: float | None = None
    intake_c: float | None = None
    expected_k: tuple[float, float] | None = None


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
        AND r.tent_temperature_c > m.t_high AND r.intake_temperature_c < m.t_high
)
"""


def explain(
    sources: Sequence[RecordSource],
    spells: Sequence[Spell],
    overrides: Sequence[Override],
    standstills: Sequence[Stretch],
    quality: Quality,
    deviations: Sequence[Deviation] = (),
) -> None:
    """Fill in each spell's worst value and its causes.

    Parameters
    ----------
    sources : sequence of RecordSource
        One or more looks at the record; more share the work in threads.
    spells : sequence of Spell
        To be filled in.
    overrides : sequence of Override
        When each override acted or was locked out.
    standstills : sequence of (float, float)
        When the fan was commanded and did not turn [Unix ms].
    quality : Quality
        When configs changed.
    deviations : sequence of Deviation
        When the tent was not as expected.
    """
    for source in sources:
        source.set_less_air((d.start_ms, d.end_ms) for d in deviations if d.kind == "less_air")
    shares: list[list[list[Spell]]] = [[] for _ in sources]
    kinds: dict[tuple[str, str], list[Spell]] = {}
    for spell in spells:
        kinds.setdefault((spell.quantity, spell.side), []).append(spell)
    for kind in sorted(kinds.values(), key=lambda kind: -sum(one.minutes for one in kind)):
        # The longest part first, always to whom has least to do.
        min(shares, key=lambda share: sum(one.minutes for part in share for one in part)).append(
            kind
        )
    if len(sources) == 1:
        _explain_share(sources[0], shares[0], overrides)
    else:
        from concurrent.futures import ThreadPoolExecutor

        with ThreadPoolExecutor(len(sources)) as pool:
            list(pool.map(_explain_share, sources, shares, [overrides] * len(sources)))
    for spell in spells:
        spell.causes.extend(_meanwhile("fan_not_turning", spell, standstills))
        spell.causes.extend(_from_config_changes(sources[0], spell, quality))
        spell.causes.extend(_from_deviations(spell, deviations))
        spell.causes[:] = added_up(spell.causes)


def _explain_share(
    source: RecordSource, kinds: Sequence[Sequence[Spell]], overrides: Sequence[Override]
) -> None:
    if any(kind[0].quantity != "temperature" for kind in kinds):
        _fill_saturation(source)
    is_hot = any((kind[0].quantity, kind[0].side) == ("temperature", "above") for kind in kinds)
    # Sizing is only asked where its answer could matter.
    ends = source.period.start_ms, source.beyond_ms
    if is_hot and source.one(_LAMP_IN_QUESTION, *ends)[0]:
        source.add_rises()
    for kind in kinds:
        _explain_kind(source, kind, overrides)


def _explain_kind(
    source: RecordSource, spells: Sequence[Spell], overrides: Sequence[Override]
) -> None:
    quantity, side = spells[0].quantity, spells[0].side
    tests_of = conditions(quantity, side)
    rule = RULES[quantity, side]
    column, low, high = COLUMNS[quantity]
    worst, limit = ("max", high) if side == "above" else ("min", low)
    tests = ", ".join(
        f"total(CASE WHEN {test} THEN dt END), min(CASE WHEN {test} THEN a END), "
        f"max(CASE WHEN {test} THEN b END)"
        for test in (f"c{n}" for n in range(len(tests_of)))
    )
    codes = [code for code, _ in tests_of]
    lamp_intake = "NULL"
    if "lamp_heat" in codes:
        lamp_intake = f"avg(CASE WHEN c{codes.index('lamp_heat')} THEN i END)"
    named = ", ".join(f"({test}) AS c{n}" for n, (_, test) in enumerate(tests_of))
    saturation = ""
    if quantity != "temperature":
        saturation = (
            "LEFT JOIN saturation p ON p.k = CAST((r.tent_temperature_c + 100.0) * 10.0 AS INTEGER)"
            " LEFT JOIN saturation q"
            " ON q.k = CAST((r.intake_temperature_c + 100.0) * 10.0 AS INTEGER)"
        )
    # One execution a spell, the inner query kept whole by its LIMIT: each test is then worked out
    # once a reading, and nothing is sorted.
    query = f"""
    SELECT {worst}(peak), {worst}(edge), min(acted_ms), {worst}(i), max(rise_k), max(key),
        min(slow_ms), {lamp_intake}, {tests}
    FROM (
        SELECT {PEAKS[quantity, side]} AS peak, {limit} AS edge,
            r.intake_temperature_c AS i, m.rise_k AS rise_k, m.id AS key,
            CASE WHEN r.rule = '{rule}'
                THEN max(r.at_ms - r.interval_s * 1000.0, ?1) END AS acted_ms,
            CASE WHEN r.fan_speed < {FULL_SPEED}
                THEN max(r.at_ms - r.interval_s * 1000.0, ?1) END AS slow_ms,
            max(r.at_ms - r.interval_s * 1000.0, ?1) AS a, min(r.at_ms, ?2) AS b,
            (min(r.at_ms, ?2) - max(r.at_ms - r.interval_s * 1000.0, ?1)) / 60000.0 AS dt,
            {named}
        FROM readings r
        CROSS JOIN terms m ON m.id = coalesce(r.config_id, 0) * 2 + {LIT}
        {saturation}
        WHERE r.at_ms > ?1 AND r.at_ms < min(?2 + ?3, ?4)
            AND r.at_ms - r.interval_s * 1000.0 < ?2
            AND {column} {">" if side == "above" else "<"} {limit}
        LIMIT -1 OFFSET 0
    )
    """
    mine = [one for one in overrides if one.rule == rule]
    ends_ms = [one.end_ms for one in mine]
    for spell in spells:
        ends = round(spell.start_ms), round(spell.end_ms)
        row = source.one(query, *ends, source.longest_ms, source.beyond_ms)
        spell.extreme, spell.limit = row[0], row[1]
        spell.causes += list(_held(row, tests_of))
        meanwhile = _overlapping(mine, ends_ms, spell)
        spell.causes += list(_locked_out(spell, meanwhile))
        spell.causes += list(_waits(source, spell, row, meanwhile))
    _date_extremes(source, spells)


def _held(row: Row, tests_of: Sequence[tuple[str, str]]) -> Iterator[Cause]:
    for n, (code, _) in enumerate(tests_of):
        minutes, since_ms, until_ms = row[8 + 3 * n : 11 + 3 * n]
        if minutes >= _LEAST_MINUTES:
            value = intake_c = None
            if code in ("intake_too_hot", "intake_too_cold"):
                value = row[3]
            elif code == "lamp_heat":
                value, intake_c = row[4], row[7]
            yield Cause(code, minutes, since_ms, until_ms, value, intake_c)


def _overlapping(
    overrides: Sequence[Override], ends_ms: Sequence[float], spell: Spell
) -> list[Override]:
    """Those that were engaged at some time in the spell; they come in order of time."""
    found = []
    for one in overrides[bisect_left(ends_ms, spell.start_ms) :]:
        if one.start_ms > spell.end_ms:
            break
        found.append(one)
    return found


def _locked_out(spell: Spell, overrides: Sequence[Override]) -> Iterator[Cause]:
    """When the spell's own override was locked out."""
    stretches = [stretch for one in overrides for stretch in one.locked_out]
    return _meanwhile("override_locked_out", spell, stretches)


def _meanwhile(code: str, spell: Spell, stretches: Sequence[Stretch]) -> Iterator[Cause]:
    """What of the stretches lies in the spell; several at once count once."""
    at_ms = spell.start_ms
    for start_ms, end_ms in sorted(stretches):
        first, last = max(start_ms, at_ms), min(end_ms, spell.end_ms)
        if first < last:
            at_ms = last
            yield Cause(code, (last - first) / 60_000.0, first, last)


def _from_deviations(spell: Spell, deviations: Sequence[Deviation]) -> Iterator[Cause]:
    for one in deviations:
        code, kinds = _DEVIATIONS[one.kind]
        if (spell.quantity, spell.side) in kinds:
            expected = None
            if one.low_k is not None and one.high_k is not None:
                expected = (one.low_k, one.high_k)
            for cause in _meanwhile(code, spell, [(one.start_ms, one.end_ms)]):
                if cause.minutes >= _LEAST_MINUTES:
                    yield cause._replace(value=one.observed_k, expected_k=expected)


def _waits(
    source: RecordSource, spell: Spell, row: Row, overrides: Sequence[Override]
) -> Iterator[Cause]:
    """How long the override took to act, as far as the fan was not at full speed anyway."""
    key, slow_ms = row[5], row[6]
    acted = [max(one.start_ms, spell.start_ms) for one in overrides]
    acted_ms = min([*acted, *([] if row[2] is None else [row[2]])], default=None)
    if spell.start_ms <= source.period.start_ms or slow_ms is None:
        return
    settings = source.terms.of(key // 2).settings
    watch = getattr(settings.overrides, spell.quantity)
    delay_ms = 1000.0 * watch.delay_s
    interval_ms = 1000.0 * settings.record.interval_s
    until_ms = acted_ms
    if until_ms is None:
        if spell.end_ms - spell.start_ms > delay_ms + 2 * interval_ms:
            return  # it never acted, and its delay is not why
        until_ms = spell.end_ms
    if slow_ms >= until_ms:
        return
    waited_ms = until_ms - spell.start_ms
    by_delay_ms = min(waited_ms, delay_ms + interval_ms)
    if by_delay_ms / 60_000.0 >= _LEAST_MINUTES:
        end_ms = spell.start_ms + by_delay_ms
        yield Cause("override_delay", by_delay_ms / 60_000.0, spell.start_ms, end_ms, watch.delay_s)
    if _was_limited(source, spell):
        rest_ms = max(waited_ms - by_delay_ms, interval_ms)
        yield Cause(
            "minimum_off_time", rest_ms / 60_000.0, spell.start_ms, until_ms,
            settings.fan.min_off_s,
        )  # fmt: skip


def _was_limited(source: RecordSource, spell: Spell) -> bool:
    """Whether a command in the spell says that a minimum time stood between wish and speed."""
    (found,) = source.one(
        "SELECT count(*) FROM events WHERE name = 'fan.changed' AND at_ms >= ? AND at_ms <= ? "
        "AND data LIKE '%\"limiting\"%'",
        round(spell.start_ms),
        round(spell.end_ms),
    )
    return bool(found)


def _date_extremes(source: RecordSource, spells: Sequence[Spell]) -> None:
    peak = PEAKS[spells[0].quantity, spells[0].side]
    for spell in spells:
        for (at_ms,) in source.rows(
            f"SELECT min(r.at_ms) FROM readings r WHERE r.at_ms > ? AND r.at_ms < ? AND {peak} = ?",
            round(spell.start_ms),
            round(spell.end_ms) + source.longest_ms,
            spell.extreme,
        ):
            spell.extreme_ms = None if at_ms is None else min(float(at_ms), spell.end_ms)


def _from_config_changes(source: RecordSource, spell: Spell, quality: Quality) -> Iterator[Cause]:
    for day in source.period.days:
        if day.start_ms <= spell.start_ms < day.end_ms:
            for at_ms in quality.config_changes_ms:
                if day.start_ms <= at_ms <= spell.end_ms:
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
    one: Cause, other: Cause
) -> tuple[float | None, float | None, tuple[float, float] | None]:
    """Value, intake and expectation of the one that went further."""
    known = [cause for cause in (one, other) if cause.value is not None]
    if not known:
        return None, one.intake_c, one.expected_k
    lowest = one.code in ("intake_too_cold", "tent_open_or_lamp_dark")
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
