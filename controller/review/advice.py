"""What to change, each suggestion backed by a replay of the days under a changed config."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from controller import display

if TYPE_CHECKING:
    from controller.review.build import Review


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One change of the config and what it would have done.

    Attributes
    ----------
    key : str
        The config's key, such as ``schedule.lead``.
    was, to : str
        Its value and the one tried, as the config writes them.
    quantity, side : str
        What it would have shortened.
    minutes_saved : float
        How much less of the period would have been out of band, replay against replay [min].
    fan_kwh_more : float or None
        What it would have cost in energy [kWh].
    """

    key: str
    was: str
    to: str
    quantity: str
    side: str
    minutes_saved: float
    fan_kwh_more: float | None = None

    def as_json(self) -> dict[str, Any]:
        """As it stands in the JSON document."""
        return {
            "key": self.key,
            "was": self.was,
            "to": self.to,
            "quantity": self.quantity,
            "side": self.side,
            "minutes_saved": round(self.minutes_saved, 1),
            "fan_kwh_more": None if self.fan_kwh_more is None else round(self.fan_kwh_more, 4),
        }


def suggestion_words(review: Review, one: Suggestion) -> str:
    """Such as "schedule.lead 15 min → 40 min would have cut 50 min of too hot"."""
    from controller.review.words import minutes_words, too_words

    text = (
        f"{one.key} {one.was} → {one.to} would have cut {minutes_words(one.minutes_saved)} of "
        f"{too_words(one.quantity, one.side)}"
    )
    if one.fan_kwh_more is not None and abs(one.fan_kwh_more) >= 0.005:
        way = "more" if one.fan_kwh_more > 0 else "less"
        text += f", for {display.energy(abs(one.fan_kwh_more))} {way}"
    return text
