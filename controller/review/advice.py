"""What to change: each suggestion is a replay of the days under one changed setting.

Replay stands against replay: the recorded intake air goes into a simulated tent, once with the
config that was in force and once with one setting changed. What only the model says is left out:
there is no advice without intake readings, nor where the simulated tent strays from the recorded
one, nor for a change that would help one quantity and harm the others more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from controller import display
from controller.review.changes import Change, changes
from controller.review.headline import worst_kind
from controller.review.words import KINDS, minutes_words, too_words

if TYPE_CHECKING:
    from controller.review.build import Review
    from controller.review.source import Source
    from controller.settings import Settings
    from simulators.fan import Fan
    from simulators.rehearsal import Outcome
    from simulators.rehearsal.recorded import Knot
    from simulators.tent_physics import TentPhysics

# Longer periods take longer than a reader waits for.
LONGEST_DAYS = 14
# What is worth asking about, and what is worth saying [min a day].
_LEAST_OUT = 30.0
_LEAST_SAVED = 10.0
_MOST_SAID = 3
_MOST_KINDS = 2
_LEAST_SHARE = 0.1
# How far the simulated tent's minutes out of band may be from the recorded ones to be believed.
_LARGEST_ERROR_SHARE = 0.25
# Intake air that was too hot for so much of the time leaves nothing to settings.
_INTAKE_SHARE = 0.9
# How far the simulated tent may be from the recorded one (root mean square) to be believed.
_LARGEST_ERROR_K = 1.5
_LARGEST_ERROR_PCT = 8.0
# The intake air is brought to means over this long: a replay costs by the number of changes.
_KNOT_S = 600
# The share of the period whose intake air has to be known.
_KNOWN_SHARE = 0.9

_KNOTS = """
SELECT avg(at_ms / 1000.0 - 0.5 * interval_s), avg(intake_temperature_c), avg(intake_humidity_pct),
    avg(tent_temperature_c), avg(tent_humidity_pct), sum(interval_s)
FROM readings
WHERE at_ms > ?1 AND at_ms <= ?2
    AND intake_temperature_c IS NOT NULL AND intake_humidity_pct IS NOT NULL
GROUP BY (at_ms - 1 - ?1) / ?3 ORDER BY 1
"""


class Suggestion(NamedTuple):
    """One change of the config and what it would have done.

    Attributes
    ----------
    key : str
        The config's key, such as ``schedule.lead``.
    was, to : str
        Its value and the one tried, in the user's units.
    quantity, side : str
        What it would have shortened.
    minutes_saved : float
        How much less of the period would have been out of band, replay against replay [min].
    fan_kwh_more : float or None
        What it would have cost in energy [kWh].
    model_error_k : float
        How far the simulated tent was from the recorded one, root mean square [K].
    worse : tuple of (str, str, float)
        Quantity and side that it would have kept out of band for longer, and by how much [min].
    """

    key: str
    was: str
    to: str
    quantity: str
    side: str
    minutes_saved: float
    fan_kwh_more: float | None
    model_error_k: float
    worse: tuple[tuple[str, str, float], ...] = ()

    def as_json(self) -> dict[str, Any]:
        """As it stands in the JSON document."""
        return {
            "key": self.key,
            "was": self.was,
            "to": self.to,
            "quantity": self.quantity,
            "side": self.side,
            "minutes_saved": round(self.minutes_saved, 1),
            "worse": [
                {"quantity": quantity, "side": side, "minutes_more": round(minutes, 1)}
                for quantity, side, minutes in self.worse
            ],
            "fan_kwh_more": None if self.fan_kwh_more is None else round(self.fan_kwh_more, 4),
            "model_error_k": round(self.model_error_k, 3),
        }


class Advice(NamedTuple):
    """What to change.

    Attributes
    ----------
    suggestions : tuple of Suggestion
        The best first.
    note : str
        What no change would have helped, or what cannot be said, and why.
    tried : int
        How many changes were replayed.
    """

    suggestions: tuple[Suggestion, ...] = ()
    note: str = ""
    tried: int = 0


def advise(source: Source, review: Review) -> Advice:
    """The changes that replays show to have helped, the best first; and what none would have.

    What was out of band and matters most is asked about first; the next, where nothing would have
    helped that.
    """
    days = len(review.period.days)
    kinds = _worth_asking(review)
    if review.is_empty:
        return Advice()
    if not kinds:
        return Advice(note="Nothing: no quantity left its band for half an hour a day.")
    if days > LONGEST_DAYS:
        return Advice(note=f"Not worked out for so long: ask for {LONGEST_DAYS} days at most.")
    air = list(_intake(source))
    if len(air) < 2:
        return Advice(
            note="Nothing can be worked out without readings of the intake air, for nine tenths of "
            "the time at least: a sensor of the role intake gives them."
        )
    settings = review.terms.of(review.hours[-1].config_id).settings
    lived = _lived(settings, review, air)
    before = _replay(settings, lived)
    if before.error_k > _LARGEST_ERROR_K or before.error_pct > _LARGEST_ERROR_PCT:
        error = display.temperature_difference(before.error_k, settings.units)
        return Advice(
            note=f"Nothing that could be backed: the simulated tent strays by {error} and "
            f"{before.error_pct:.0f} % of humidity from the recorded one."
        )
    tried = tried_in_vain = 0
    in_vain: list[str] = []
    strayed: list[str] = []
    for quantity, side in kinds:
        recorded = _minutes(review, quantity, side)
        if abs(_out(before.outcome, quantity, side) - recorded) > (
            _LARGEST_ERROR_SHARE * recorded + _LEAST_SAVED * days
        ):
            strayed.append(too_words(quantity, side))
            continue
        least = max(_LEAST_SAVED * days, _LEAST_SHARE * recorded)
        best: dict[str, Suggestion] = {}
        for change in changes(settings, quantity, side):
            tried += 1
            after = _replay(change.apply(settings), lived)
            one = _compared(change, quantity, side, before, after, settings, days)
            known = best.get(change.key)
            if one.minutes_saved < least or _harm(before, after, one.minutes_saved):
                continue
            if known is None or one.minutes_saved > known.minutes_saved + _LEAST_SAVED * days:
                best[change.key] = one
        if best:
            ranked = sorted(best.values(), key=lambda one: -one.minutes_saved)
            note = _note(review, in_vain, strayed, tried_in_vain)
            return Advice(tuple(ranked[:_MOST_SAID]), note, tried)
        in_vain.append(too_words(quantity, side))
        tried_in_vain = tried
    return Advice(note=_note(review, in_vain, strayed, tried_in_vain), tried=tried)


def _note(review: Review, in_vain: Sequence[str], strayed: Sequence[str], tried: int) -> str:
    """What no change would have helped, and what cannot be said."""
    found = []
    if in_vain:
        found.append(
            f"{' and '.join(in_vain).capitalize().replace('vpd', 'VPD')}: none of {tried} changes "
            f"replayed would have cut a tenth of it without as much harm elsewhere."
        )
        if too_words("temperature", "above") in in_vain:
            found += _beyond_settings(review)
    if strayed:
        found.append(
            f"Nothing is said of {' and '.join(strayed)}: there the simulated tent strays from "
            "the recorded one."
        )
    return " ".join(found)


def _minutes(review: Review, quantity: str, side: str) -> float:
    """How long a quantity was recorded out of its band [min]."""
    minutes: float = getattr(getattr(review.figures, quantity).minutes, side)
    return minutes


def _worth_asking(review: Review) -> list[tuple[str, str]]:
    """What was out of band for long, what matters most first."""
    least = _LEAST_OUT * len(review.period.days)
    worst = worst_kind(review)
    first = None if worst is None else worst[:2]
    found = [kind for kind in KINDS if _minutes(review, *kind) >= least]
    found.sort(key=lambda kind: (kind != first, -_minutes(review, *kind)))
    return found[:_MOST_KINDS]


def _beyond_settings(review: Review) -> list[str]:
    """What the record itself shows to be the only way."""
    whole = review.figures.temperature.minutes.above
    held = sum(
        cause.minutes
        for spell in review.spells
        for cause in spell.causes
        if cause.code == "intake_too_hot"
    )
    if held < _INTAKE_SHARE * whole:
        return []
    return [
        f"The intake air was hotter than the band for {minutes_words(held)}: no flow of such air "
        "can bring the tent into the band, cooler intake air can."
    ]


def _compared(
    change: Change,
    quantity: str,
    side: str,
    before: _Replayed,
    after: _Replayed,
    settings: Settings,
    days: int,
) -> Suggestion:
    """What a change did, replay against replay."""
    saved = _out(before.outcome, quantity, side) - _out(after.outcome, quantity, side)
    more = after.outcome.fan.energy_kwh - before.outcome.fan.energy_kwh
    worse = [
        (*kind, _out(after.outcome, *kind) - _out(before.outcome, *kind))
        for kind in KINDS
        if kind != (quantity, side)
    ]
    return Suggestion(
        change.key, change.was, change.to, quantity, side, saved,
        None if settings.fan.power_w is None else more, before.error_k,
        tuple(one for one in worse if one[2] >= _LEAST_SAVED * days),
    )  # fmt: skip


def _harm(before: _Replayed, after: _Replayed, saved: float) -> bool:
    """Whether more than half of what was saved is lost again elsewhere."""
    return _all_out(before.outcome) - _all_out(after.outcome) < 0.5 * saved


def advice_words(review: Review, advice: Advice) -> list[str]:
    """What no change would have helped and why, then what to change."""
    found = [suggestion_words(review, one) for one in advice.suggestions]
    return ([advice.note] if advice.note else []) + found


def suggestion_words(review: Review, one: Suggestion) -> str:
    """Such as "schedule.lead 15 min → 40 min would have cut 50 min of too hot"."""
    text = (
        f"{one.key} {one.was} → {one.to} would have cut {minutes_words(one.minutes_saved)} of "
        f"{too_words(one.quantity, one.side)}"
    )
    if one.fan_kwh_more is not None and abs(one.fan_kwh_more) >= 0.005:
        way = "more" if one.fan_kwh_more > 0 else "less"
        text += f", for {display.energy(abs(one.fan_kwh_more))} {way} of fan energy"
    if one.worse:
        prices = [f"{minutes_words(more)} more of {too_words(*kind)}" for *kind, more in one.worse]
        text += f", at the price of {' and '.join(prices)}"
    error = display.temperature_difference(one.model_error_k, review.settings.units)
    return f"{text} (replayed; the model is within {error} of the record)"


def _intake(source: Source) -> Iterator[Knot]:
    """The recorded intake air in steps; nothing where too much of it is missing."""
    from simulators.rehearsal.recorded import Knot

    period = source.period
    rows = list(source.rows(_KNOTS, period.start_ms, period.end_ms, _KNOT_S * 1000))
    if sum(row[5] for row in rows) >= _KNOWN_SHARE * (period.end_ms - period.start_ms) / 1000.0:
        yield from (Knot(*row[:5]) for row in rows)


class _Replayed(NamedTuple):
    """What a config would have done, and how far the model was from the record (rms)."""

    outcome: Outcome
    error_k: float
    error_pct: float


class _Lived(NamedTuple):
    """What is the same in every replay: tent and fan, the air around, from and until [s]."""

    physics: TentPhysics
    fan: Fan
    air: Sequence[Knot]
    span_s: tuple[float, float]


def _lived(settings: Settings, review: Review, air: Sequence[Knot]) -> _Lived:
    from simulators.fan import Fan
    from simulators.tent_physics import TentPhysics

    span_s = review.period.start_ms / 1000.0, review.period.end_ms / 1000.0
    physics = TentPhysics.from_settings(settings)
    return _Lived(physics, Fan(settings, physics.density_kg_m3), air, span_s)


def _replay(settings: Settings, lived: _Lived) -> _Replayed:
    """Run a config in the recorded intake air."""
    from simulators.rehearsal import rehearse, scene_in
    from simulators.rehearsal.recorded import RecordedAir

    intake = RecordedAir(iter(lived.air), lived.physics.pressure_pa)
    scene = scene_in(settings, lived.physics, intake, (), lived.fan)
    intake.tent = scene.tent
    outcome = rehearse(settings, scene, *lived.span_s)
    return _Replayed(outcome, intake.fit.rms_k, intake.fit.rms_pct)


def _out(outcome: Outcome, quantity: str, side: str) -> float:
    minutes: float = getattr(outcome.minutes(quantity), side)
    return minutes


def _all_out(outcome: Outcome) -> float:
    return sum(
        _out(outcome, quantity, side)
        for quantity in ("temperature", "humidity", "vpd")
        for side in ("below", "above")
    )
