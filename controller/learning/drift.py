"""A sensor that drifts: the sensors' difference beside that of the reference week. Pure.

What the tent's sensor reads more than the intake's in the same air is a parameter of the model. A
tent has one sensor often, and no twin to disagree with: but heat and moisture that no tent could
give off, by day and by night alike, are its own. Which of the two sensors it is can't be told; nor
that both drift alike. What surrounds the walls may become warmer or colder, too, and is a parameter
of its own: where little air is moved, the data tell the two apart only in part.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from controller.learning.learned import Learned, Parameter

# Changes of less are no matter to a plant (engineering judgement), and no surprise to a data sheet.
_LEAST_K, _LEAST_PCT = 0.5, 3.0
# Nights in a row that must find it: a week of opened doors is no drift.
_NIGHTS = 2


class SensorDrift(NamedTuple):
    """How the sensors' difference has changed since the reference week.

    Attributes
    ----------
    by_k, by_pct : float
        What the tent's sensor reads more than it did, beside the intake's; 0 where that is within
        the doubt [K], [%].
    doubt_k, doubt_pct : float
        Half the width of the 90 % intervals of both weeks together [K], [%].
    """

    by_k: float
    by_pct: float
    doubt_k: float
    doubt_pct: float

    def as_json(self) -> dict[str, float]:
        """One object, units in the keys."""
        return {name: round(value, 3) for name, value in self._asdict().items()}


def sensor_drift(reference: Learned, nights: Sequence[Learned]) -> SensorDrift | None:
    """A drift that the last nights agree on; None without.

    Parameters
    ----------
    reference : Learned
        The reference week.
    nights : sequence of Learned
        What was learned since, in order of time.
    """
    if len(nights) < _NIGHTS:
        return None
    drifts = [_difference(reference, night) for night in nights[-_NIGHTS:]]
    by_k = _agreed([drift.by_k for drift in drifts])
    by_pct = _agreed([drift.by_pct for drift in drifts])
    if by_k == 0.0 and by_pct == 0.0:
        return None
    return drifts[-1]._replace(by_k=by_k, by_pct=by_pct)


def _difference(reference: Learned, now: Learned) -> SensorDrift:
    figures = []
    for name, least in (("difference_k", _LEAST_K), ("difference_pct", _LEAST_PCT)):
        before, after = reference.parameters[name], now.parameters[name]
        by, doubt = after.value - before.value, math.hypot(_half(before), _half(after))
        is_sure = before.is_learned and after.is_learned and abs(by) > max(least, doubt)
        figures.append((by if is_sure else 0.0, doubt))
    (by_k, doubt_k), (by_pct, doubt_pct) = figures
    return SensorDrift(by_k, by_pct, doubt_k, doubt_pct)


def _half(parameter: Parameter) -> float:
    return 0.5 * (parameter.high - parameter.low)


def _agreed(values: Sequence[float]) -> float:
    """The least of values that are all of one sign, or nothing."""
    least = min(values, key=abs)
    return least if all(value * least > 0.0 for value in values) else 0.0
