"""The status that the daemon saves for `lungwort now`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from controller.control.types import Reason

# The key under which the daemon saves it, each interval and at each change.
KEY = "now"
# The key that only a simulation saves: its times are not the clock's.
SIMULATED_KEY = "simulated"
# The key under which the daemon saves what changed in the tent within hours.
TENT_CHANGED_KEY = "tent.changed"

# The years 1 to 9999, a day less at both ends for the zones.
_FIRST_MS, _LAST_MS = -62_135_510_400_000, 253_402_214_400_000

ReasonJson = dict[str, object]


class NextChange(NamedTuple):
    """When the timetable next changes [Unix ms], and what then: names of `ChangeKind`."""

    at_ms: int
    what: tuple[str, ...]


class DaemonStatus(NamedTuple):
    """The fan's speed and its reasons, the lamp, and the next change of the timetable.

    Attributes
    ----------
    at_ms : int
        When [Unix ms].
    speed : float
        Commanded speed, 0-1.
    reasons : tuple of dict
        The deciding one first; see `reason_json`.
    lamp_on, in_fan_hours : bool
        The lamp as sensed or scheduled, and the fan hours.
    next_change : NextChange or None
        None where nothing changes within a year.
    """

    at_ms: int
    speed: float
    reasons: tuple[ReasonJson, ...]
    lamp_on: bool
    in_fan_hours: bool
    next_change: NextChange | None = None

    def to_json(self) -> dict[str, object]:
        """Give the form for `save_state`."""
        change = self.next_change
        return {
            "at_ms": self.at_ms,
            "speed": self.speed,
            "reasons": list(self.reasons),
            "lamp_on": self.lamp_on,
            "in_fan_hours": self.in_fan_hours,
            "next_change": None
            if change is None
            else {"at_ms": change.at_ms, "what": list(change.what)},
        }

    @classmethod
    def from_json(cls, value: object) -> DaemonStatus | None:
        """Read what `load_state` gives; None if it isn't a status, as from another version."""
        try:
            return cls._from_json(value)
        except (KeyError, TypeError, ValueError, OverflowError):
            return None

    @classmethod
    def _from_json(cls, value: Any) -> DaemonStatus:
        change = value["next_change"]
        instants = (value["at_ms"], 0 if change is None else change["at_ms"])
        if not all(_FIRST_MS <= at_ms <= _LAST_MS for at_ms in instants):
            raise ValueError("no instant of a calendar")
        what: Any = () if change is None else change["what"]
        return cls(
            at_ms=int(value["at_ms"]),
            speed=float(value["speed"]),
            reasons=tuple(dict(reason) for reason in value["reasons"]),
            lamp_on=bool(value["lamp_on"]),
            in_fan_hours=bool(value["in_fan_hours"]),
            next_change=None
            if change is None
            else NextChange(
                int(change["at_ms"]), (what,) if isinstance(what, str) else tuple(what)
            ),
        )


def reason_json(reason: Reason, epoch_s: float | None = None) -> ReasonJson:
    """Give a reason as JSON, as in events and in the saved status.

    Parameters
    ----------
    reason : Reason
        From a decision.
    epoch_s : float, optional
        Wall time minus monotonic time [s]: with it, a reason that ends by itself gets its end,
        ``until_ms``.

    Returns
    -------
    dict
        What `Reason.as_dict` gives, and until_ms where it is known.
    """
    value = {
        key: round(item, 4) if isinstance(item, float) else item  # past what any sensor tells
        for key, item in reason.as_dict().items()
    }
    if reason.until_s is not None and epoch_s is not None:
        value["until_ms"] = round((reason.until_s + epoch_s) * 1000)
    return value


def reasons_json(reasons: Iterable[Reason], epoch_s: float | None = None) -> list[ReasonJson]:
    """Give reasons as JSON, in order."""
    return [reason_json(reason, epoch_s) for reason in reasons]


def as_reason_json(reason: Reason | Mapping[str, object]) -> Mapping[str, object]:
    """Give a reason in either form as JSON."""
    return reason_json(reason) if isinstance(reason, Reason) else reason
