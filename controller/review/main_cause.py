"""What was out of band worst, and the one cause that is named for it first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from controller.review.causes import added_up
from controller.review.compare import foremost, weighted
from controller.review.excursions import KINDS, Cause, Excursion, Kind
from controller.review.report import Review

# The order in which a cause is looked for, and the share of the time it must have held.
_ORDER = (
    *("fan_not_turning", "less_air_than_expected", "held_by_hand", "sensor_missing"),
    *("band_narrower_than_swing", "lamp_lit_out_of_hours", "heat_while_dark"),
    "reduced_transpiration",
    *("tent_open_or_lamp_dark", "intake_too_hot", "intake_too_cold"),
    *("too_hot_meanwhile", "intake_too_wet", "intake_too_dry", "lamp_heat", "fan_at_full_speed"),
    "quiet_hours",
    "fan_below_full_speed",
    "fan_at_rest",
    *(
        "slowed_against_cold",
        "kept_running_against_humidity",
        "kept_running_against_stale_air",
        "kept_running_against_heat",
        "ran_for_want_of_starts",
        "purge",
        "fan_slowed",
        "outside_fan_hours",
        "minimum_off_time",
    ),
    "override_delay",
)
_LEAST_SHARE = 0.25
_NO_AIR = ("fan_not_turning", "less_air_than_expected")
# Intake air that was too hot for so much of the time leaves the tent so with all the air there is.
_INTAKE_SHARE = 0.9
# A fan that did not turn for so long is the reason whatever else held [min], unless that held for
# so much longer: a dead fan's half day is not why a room's damp lasted a week.
_LONG_STALL = 30.0
_LEAST_STALL_SHARE = 0.08
# Where an override was locked out for so much of the time, more air had nothing to give at all.
_LOCKED_OUT_SHARE = 0.9

# A cause that ended so long before the quantity was back in band is given with its end [ms].
_EARLY_MS = 15 * 60_000.0


class WorstKind(NamedTuple):
    """A quantity, the side of its band it was on, and for how long [min]."""

    quantity: str
    side: str
    minutes: float

    @property
    def kind(self) -> Kind:
        """Quantity and side."""
        return self.quantity, self.side


class MainCause(NamedTuple):
    """The cause named first.

    Attributes
    ----------
    total : Cause
        The cause, its minutes added up over all excursions.
    longest : Cause
        The longest stretch in which it held.
    is_useless : bool
        Whether the override was locked out for nearly as long: more air had nothing to give.
    is_throughout : bool
        Whether it held for practically the whole time.
    ends_early : bool
        Whether the quantity was out of band for a while after it.
    """

    total: Cause
    longest: Cause
    is_useless: bool
    is_throughout: bool
    ends_early: bool

    @property
    def code(self) -> str:
        """The cause's code."""
        return self.total.code


def worst_kind(review: Review) -> WorstKind | None:
    """What was out of band: temperature first where it matters, then what weighs most."""
    figures = review.figures
    minutes = {kind: figures.minutes_out(kind) for kind in KINDS}
    kind = foremost(
        {kind: weighted(kind, minutes[kind], figures.hours_out(kind)) for kind in KINDS},
        [kind for kind in KINDS[:2] if minutes[kind] >= (1.0 if kind[1] == "above" else 30.0)],
        figures.minutes_above_warning >= 1.0,
    )
    return WorstKind(*kind, minutes[kind]) if minutes[kind] >= 1.0 else None


def main_cause(review: Review, kind: Kind) -> MainCause | None:
    """The first cause in the order above that held for long enough."""
    excursions = [e for e in review.excursions if (e.quantity, e.side) == kind]
    whole = sum((e.end_ms - e.start_ms) / 60_000.0 for e in excursions)
    out_min = sum(e.minutes for e in excursions)
    active = [cause for e in excursions for cause in e.causes if e.covers(cause)]
    by_code = {cause.code: cause for cause in added_up(active)}
    candidates = {code: by_code[code] for code in _ORDER if code in by_code}
    last_ms = max((e.end_ms for e in excursions), default=0.0)
    longest_min = max((cause.minutes for cause in candidates.values()), default=0.0)
    if _is_the_lesser(candidates, excursions, whole):
        del candidates["less_air_than_expected"]
    lamp, hot = candidates.get("lamp_heat"), candidates.get("intake_too_hot")
    if lamp is not None and hot is not None and lamp.minutes >= 0.5 * hot.minutes:
        del candidates["intake_too_hot"]  # while it was lit, the lamp did more than the room
    for code, cause in candidates.items():
        is_dead_fan = code in _NO_AIR and cause.minutes >= max(
            _LONG_STALL, _LEAST_STALL_SHARE * longest_min
        )
        if is_dead_fan or cause.minutes >= max(_LEAST_SHARE * whole, 0.5 * longest_min):
            locked_out = by_code.get("override_locked_out")
            longest = max((c for c in active if c.code == code), key=lambda c: c.minutes)
            return MainCause(
                total=cause._replace(minutes=min(cause.minutes, out_min)),
                longest=longest,
                is_useless=locked_out is not None
                and locked_out.minutes >= _LOCKED_OUT_SHARE * cause.minutes,
                is_throughout=cause.minutes >= 0.98 * out_min,
                ends_early=last_ms - longest.until_ms >= _EARLY_MS,
            )
    return None


def _is_the_lesser(
    candidates: dict[str, Cause], excursions: Sequence[Excursion], whole_min: float
) -> bool:
    """Whether hot intake air did more than the air that was missing, which is told beside it."""
    less, hot = candidates.get("less_air_than_expected"), candidates.get("intake_too_hot")
    if less is None or hot is None or hot.minutes < _INTAKE_SHARE * whole_min:
        return False
    if less.value is None or less.expected_k is None or hot.value is None:
        return False
    limits = [excursion.limit for excursion in excursions if excursion.limit is not None]
    return less.value - less.expected_k[1] < hot.value - max(limits, default=hot.value)
