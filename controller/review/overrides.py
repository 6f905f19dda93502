"""When the controller left its schedule: each override with its start, length and effect."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from typing import Any, Literal, NamedTuple

from controller.review.segments import Run
from controller.review.source import RecordSource

_RULES = ("too_hot", "too_humid", "too_cold", "too_dry")
# How far back an override may have engaged that still stands when the period begins [ms].
_LOOK_BACK_MS = 3 * 86_400_000
_NAMES = tuple(f"override.{what}" for what in ("engaged", "released", "locked_out", "resumed"))
_COLUMNS = {
    "temperature": "tent_temperature_c",
    "humidity": "tent_humidity_pct",
    "vpd": "tent_vpd_pa",
    "dew_point": "tent_dew_point_c",
}
UNITS = {"temperature": "°C", "humidity": "%", "vpd": "Pa", "dew_point": "°C"}


class Override(NamedTuple):
    """One stretch in which an override was engaged.

    Attributes
    ----------
    rule, quantity : str
        The rule it served and what had left its band.
    start_ms, end_ms : float
        From engaging to release, cut at the period's ends [Unix ms].
    ended : {"released", "stands", "unknown"}
        How it ended: released; still engaged at the end; or engaged anew without a release seen.
    value, limit : float or None
        The value that engaged it and its limit, in `unit`.
    locked_out : tuple of (float, float)
        When outside air could not help, from and until [Unix ms].
    before, after, extreme : float or None
        The quantity when it began and ended, and its worst value in between, in `quantity_unit`.
    ruled_minutes : float
        How long its rule set the fan's speed meanwhile, for this or another quantity [min].
    """

    rule: str
    quantity: str
    start_ms: float
    end_ms: float
    ended: Literal["released", "stands", "unknown"] = "released"
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    locked_out: tuple[tuple[float, float], ...] = ()
    before: float | None = None
    after: float | None = None
    extreme: float | None = None
    ruled_minutes: float = 0.0

    @property
    def minutes(self) -> float:
        """Its length in the period [min]."""
        return (self.end_ms - self.start_ms) / 60_000.0

    @property
    def locked_out_minutes(self) -> float:
        """How long outside air could not help, in the period [min]."""
        return sum(end - start for start, end in self.locked_out) / 60_000.0

    @property
    def quantity_unit(self) -> str:
        """The unit of `before`, `after` and `extreme`."""
        return UNITS.get(self.quantity, "")

    @property
    def is_upward(self) -> bool:
        """Whether the quantity had left its band upwards."""
        if self.quantity == "vpd":
            return self.rule == "too_dry"
        return self.rule in ("too_hot", "too_humid")


def find_overrides(source: RecordSource, runs: Sequence[Run]) -> list[Override]:
    """The overrides of the period, in order of their start.

    From the events; a record without such events still has the rule that ruled in each reading.
    """
    period = source.period
    newest_ms = runs[-1].end_ms if runs else period.start_ms
    events = source.reader.events(period.start_ms - _LOOK_BACK_MS, period.end_ms, _NAMES)
    found = list(_from_events(((e.at_ms, e.name, e.data) for e in events), newest_ms))
    if not found:
        found = list(_from_runs(runs))
    cut = [_cut(one, float(period.start_ms), float(period.end_ms)) for one in found]
    kept = [one for one in cut if one.end_ms > one.start_ms]
    found = sorted(kept, key=lambda one: (one.start_ms, one.rule))
    return _with_effects(source, _with_ruled(found, runs))


def _cut(one: Override, start_ms: float, end_ms: float) -> Override:
    """What of it lies in the period."""
    locked_out = [(max(a, start_ms), min(b, end_ms)) for a, b in one.locked_out]
    return one._replace(
        start_ms=max(one.start_ms, start_ms),
        end_ms=min(one.end_ms, end_ms),
        locked_out=tuple((a, b) for a, b in locked_out if a < b),
    )


def _from_events(
    events: Iterable[tuple[int, str, dict[str, Any]]], newest_ms: float
) -> Iterable[Override]:
    standing: dict[tuple[str, str], Override] = {}
    locked_out_since: dict[tuple[str, str], float] = {}

    def closed(key: tuple[str, str], at_ms: float, ended: Any) -> Override:
        one = standing.pop(key)
        since = locked_out_since.pop(key, None)
        last = () if since is None else ((since, max(since, at_ms)),)
        return one._replace(end_ms=at_ms, ended=ended, locked_out=one.locked_out + last)

    for at_ms, name, data in events:
        key = (str(data.get("rule")), str(data.get("quantity")))
        what = name.partition(".")[2]
        if what == "engaged":
            if key in standing:
                yield closed(key, at_ms, "unknown")
            standing[key] = Override(
                *key,
                float(at_ms),
                float(at_ms),
                value=_number(data.get("value")),
                limit=_number(data.get("limit")),
                unit=str(data.get("unit") or ""),
            )
        elif key not in standing:
            continue
        elif what == "released":
            yield closed(key, at_ms, "released")
        elif what == "locked_out":
            locked_out_since.setdefault(key, float(at_ms))
        elif what == "resumed" and key in locked_out_since:
            one = standing[key]
            stretch = (locked_out_since.pop(key), float(at_ms))
            standing[key] = one._replace(locked_out=(*one.locked_out, stretch))
    for key in list(standing):
        yield closed(key, max(newest_ms, standing[key].start_ms), "stands")


def _from_runs(runs: Sequence[Run]) -> Iterable[Override]:
    current: Override | None = None
    for run in runs:
        if run.rule not in _RULES:
            if current is not None:
                yield current
                current = None
            continue
        if current is not None and current.rule != run.rule:
            yield current
            current = None
        if current is None:
            quantity = "temperature" if run.rule in ("too_hot", "too_cold") else "humidity"
            current = Override(run.rule, quantity, run.start_ms, run.end_ms)
        current = current._replace(end_ms=run.end_ms)
    if current is not None:
        yield current._replace(ended="stands")


def _with_ruled(found: Sequence[Override], runs: Sequence[Run]) -> list[Override]:
    """Count how long each one's rule set the fan's speed."""
    ends_ms = [run.end_ms for run in runs]
    done = []
    for one in found:
        ruled_ms = 0.0
        for index in range(bisect_right(ends_ms, one.start_ms), len(runs)):
            run = runs[index]
            if run.start_ms >= one.end_ms:
                break
            if run.rule == one.rule:
                ruled_ms += min(run.end_ms, one.end_ms) - max(run.start_ms, one.start_ms)
        done.append(one._replace(ruled_minutes=ruled_ms / 60_000.0))
    return done


_EFFECTS = """
SELECT s.id,
    (SELECT {column} FROM readings WHERE at_ms > s.a ORDER BY at_ms LIMIT 1),
    (SELECT {column} FROM readings WHERE at_ms <= s.b ORDER BY at_ms DESC LIMIT 1),
    (SELECT max({column}) FROM readings WHERE at_ms > s.a AND at_ms <= s.b),
    (SELECT min({column}) FROM readings WHERE at_ms > s.a AND at_ms <= s.b)
FROM spans s
"""


def _with_effects(source: RecordSource, found: list[Override]) -> list[Override]:
    """Look up what the quantity did meanwhile."""
    done = list(found)
    for quantity, column in _COLUMNS.items():
        indices = [i for i, one in enumerate(found) if one.quantity == quantity]
        if not indices:
            continue
        source.set_spans([(round(found[i].start_ms), round(found[i].end_ms)) for i in indices])
        for number, before, after, highest, lowest in source.rows(_EFFECTS.format(column=column)):
            one = done[indices[number]]
            done[indices[number]] = one._replace(
                before=before,
                after=after,
                extreme=highest if one.is_upward else lowest,
            )
    return done


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None
