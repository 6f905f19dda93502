"""What to change, each suggestion backed by a replay of the days under a changed config."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


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
