"""When the controller left its schedule: each override with its start, length and effect."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from controller.control.override_state import OVERRIDE_RULES
from controller.control.types import Rule
from controller.review.cause_conditions import RULES
from controller.review.segments import ABOVE, BELOW, HUMIDITY, TEMPERATURE, VPD, Segment
from controller.review.source import RecordSource

if TYPE_CHECKING:
    from controller.review.speed_effects import SpeedEffect

_RULES = tuple(rule.value for rule in OVERRIDE_RULES)
# How far back an override may have engaged that still stands when the period begins [ms].
_LOOK_BACK_MS = 3 * 86_400_000
_NAMES = tuple(f"override.{what}" for what in ("engaged", "released", "locked_out", "resumed"))
_COLUMNS = {
    "temperature": "tent_temperature_c",
    "humidity": "tent_humidity_pct",
    "vpd": "tent_vpd_pa",
    "dew_point": "tent_dew_point_c",
}
UNITS = {"temperature": "°C", "humidity": "%", "vpd": "Pa", "dew_point": "°C", "co2": "ppm"}


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
    deciding_minutes : float
        How long its rule set the fan's speed meanwhile, for this or another quantity [min].
    quiet_minutes : float
        How long quiet hours set it meanwhile [min].
    speed_effect : SpeedEffect or None
        What its modulated speeds brought; None where the record does not tell, or speeds are fixed.
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
    deciding_minutes: float = 0.0
    quiet_minutes: float = 0.0
    speed_effect: SpeedEffect | None = None

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
    def wants_air(self) -> bool:
        """Whether it asks for more air rather than less."""
        return self.rule in ("too_hot", "too_humid", "too_stale")

    @property
    def is_upward(self) -> bool:
        """Whether the quantity had left its band upwards."""
        if self.quantity == "vpd":
            return self.rule == "too_dry"
        return self.rule in ("too_hot", "too_humid")


def find_overrides(source: RecordSource, segments: Sequence[Segment]) -> list[Override]:
    """The overrides of the period, in order of their start.

    From the events; a record without such events still has the deciding rule of each reading.
    """
    period = source.period
    newest_ms = segments[-1].end_ms if segments else period.start_ms
    events = source.reader.events(period.start_ms - _LOOK_BACK_MS, period.end_ms, _NAMES)
    recent = _from_events(((e.at_ms, e.name, e.data) for e in events), newest_ms)
    inside = _inside(recent, source)
    # A rule that set the speed was engaged, even if that was long before the period, and so, most
    # likely, is that of what is out of band as it begins.
    missing = {segment.rule for segment in segments} & set(_RULES)
    missing -= {override.rule for override in inside}
    if segments:
        at_start = {o.rule for o in inside if o.start_ms <= segments[0].end_ms}
        missing |= _rules_asked_for(segments[0]) - at_start
    if missing:
        events = source.reader.events(0, period.end_ms, _NAMES)
        all_overrides = _from_events(((e.at_ms, e.name, e.data) for e in events), newest_ms)
        inside = [o for o in inside if o.rule not in missing]
        inside += [o for o in _inside(all_overrides, source) if o.rule in missing]
    if not inside:
        inside = _inside(_from_segments(segments), source)
    overrides = sorted(inside, key=lambda override: (override.start_ms, override.rule))
    return _with_effects(source, _with_deciding_minutes(overrides, segments))


def _rules_asked_for(segment: Segment) -> set[str]:
    """The rules against what is out of band in a segment."""
    sides = {ABOVE: "above", BELOW: "below"}
    kinds = [
        (name, sides.get(segment.position(bit)))
        for name, bit in (("temperature", TEMPERATURE), ("humidity", HUMIDITY), ("vpd", VPD))
    ]
    return {RULES[name, side] for name, side in kinds if side is not None}


def _inside(overrides: Iterable[Override], source: RecordSource) -> list[Override]:
    """What of them lies in the period."""
    start_ms, end_ms = float(source.period.start_ms), float(source.period.end_ms)
    cut = [_cut(override, start_ms, end_ms) for override in overrides]
    return [override for override in cut if override.end_ms > override.start_ms]


def _cut(override: Override, start_ms: float, end_ms: float) -> Override:
    """What of it lies in the period."""
    locked_out = [(max(a, start_ms), min(b, end_ms)) for a, b in override.locked_out]
    return override._replace(
        start_ms=max(override.start_ms, start_ms),
        end_ms=min(override.end_ms, end_ms),
        locked_out=tuple((a, b) for a, b in locked_out if a < b),
    )


def _from_events(
    events: Iterable[tuple[int, str, dict[str, Any]]], newest_ms: float
) -> Iterable[Override]:
    engaged: dict[tuple[str, str], Override] = {}
    locked_out_since: dict[tuple[str, str], float] = {}

    def closed(key: tuple[str, str], at_ms: float, ended: Any) -> Override:
        override = engaged.pop(key)
        since = locked_out_since.pop(key, None)
        last = () if since is None else ((since, max(since, at_ms)),)
        return override._replace(end_ms=at_ms, ended=ended, locked_out=override.locked_out + last)

    for at_ms, name, data in events:
        key = (str(data.get("rule")), str(data.get("quantity")))
        what = name.partition(".")[2]
        if what == "engaged":
            if key in engaged:
                yield closed(key, at_ms, "unknown")
            engaged[key] = Override(
                *key,
                float(at_ms),
                float(at_ms),
                value=_number(data.get("value")),
                limit=_number(data.get("limit")),
                unit=str(data.get("unit") or ""),
            )
        elif key not in engaged:
            continue
        elif what == "released":
            yield closed(key, at_ms, "released")
        elif what == "locked_out":
            locked_out_since.setdefault(key, float(at_ms))
        elif what == "resumed" and key in locked_out_since:
            override = engaged[key]
            stretch = (locked_out_since.pop(key), float(at_ms))
            engaged[key] = override._replace(locked_out=(*override.locked_out, stretch))
    for key in list(engaged):
        yield closed(key, max(newest_ms, engaged[key].start_ms), "stands")


def _from_segments(segments: Sequence[Segment]) -> Iterable[Override]:
    current: Override | None = None
    for segment in segments:
        if segment.rule not in _RULES:
            if current is not None:
                yield current
                current = None
            continue
        if current is not None and current.rule != segment.rule:
            yield current
            current = None
        if current is None:
            quantity = "temperature" if segment.rule in ("too_hot", "too_cold") else "humidity"
            current = Override(segment.rule, quantity, segment.start_ms, segment.end_ms)
        current = current._replace(end_ms=segment.end_ms)
    if current is not None:
        yield current._replace(ended="stands")


def _with_deciding_minutes(
    overrides: Sequence[Override], segments: Sequence[Segment]
) -> list[Override]:
    """Count how long each one's rule, or quiet hours, set the fan's speed."""
    ends_ms = [segment.end_ms for segment in segments]
    done = []
    for override in overrides:
        deciding_ms, quiet_ms = 0.0, 0.0
        for index in range(bisect_right(ends_ms, override.start_ms), len(segments)):
            segment = segments[index]
            if segment.start_ms >= override.end_ms:
                break
            both_ms = min(segment.end_ms, override.end_ms) - max(
                segment.start_ms, override.start_ms
            )
            if segment.rule == override.rule:
                deciding_ms += both_ms
            elif segment.rule == Rule.QUIET:
                quiet_ms += both_ms
        done.append(
            override._replace(
                deciding_minutes=deciding_ms / 60_000.0, quiet_minutes=quiet_ms / 60_000.0
            )
        )
    return done


_EFFECTS = """
SELECT s.id,
    (SELECT {column} FROM readings WHERE at_ms > s.a ORDER BY at_ms LIMIT 1),
    (SELECT {column} FROM readings WHERE at_ms <= s.b ORDER BY at_ms DESC LIMIT 1),
    (SELECT max({column}) FROM readings WHERE at_ms > s.a AND at_ms <= s.b),
    (SELECT min({column}) FROM readings WHERE at_ms > s.a AND at_ms <= s.b)
FROM spans s
"""


def _co2_column(source: RecordSource) -> str:
    """The least carbon dioxide that the tent's sensors show at a reading, in SQL."""
    names = ", ".join(
        f"'{sensor.name}'"  # letters, digits and _
        for sensor in source.terms.present.settings.sensors
        if sensor.role == "tent"
    )
    return (
        "(SELECT min(c.co2_ppm) FROM sensor_readings c "
        f"WHERE c.at_ms = readings.at_ms AND c.sensor IN ({names}))"
    )


def _with_effects(source: RecordSource, overrides: list[Override]) -> list[Override]:
    """Look up what the quantity did meanwhile."""
    done = list(overrides)
    for quantity, column in (*_COLUMNS.items(), ("co2", _co2_column(source))):
        indices = [i for i, override in enumerate(overrides) if override.quantity == quantity]
        if not indices:
            continue
        source.set_spans(
            [(round(overrides[i].start_ms), round(overrides[i].end_ms)) for i in indices]
        )
        for number, before, after, highest, lowest in source.rows(_EFFECTS.format(column=column)):
            override = done[indices[number]]
            done[indices[number]] = override._replace(
                before=before,
                after=after,
                extreme=highest if override.is_upward else lowest,
            )
    return done


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None
