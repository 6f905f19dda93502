"""What a decision needs from the one before, and how that survives a restart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

from controller.control.lamp_interlock import LampCut
from controller.control.modulation import SpeedChoice
from controller.control.override_state import CALM, OVERRIDES, OverrideState, OverrideStates
from controller.control.types import Hold

# No daemon runs, and no record is kept, for longer.
_LONGEST_AGE_S = 100 * 366 * 86_400.0

# So many overrides had a version without the last one: its holds and rests are to be kept.
_BEFORE_CO2 = 7


class Ramp(NamedTuple):
    """A speed on its way: from `from_speed` at `from_s` towards `to_speed`."""

    from_speed: float = 0.0
    from_s: float = -math.inf
    to_speed: float = 0.0


AT_REST = Ramp()


@dataclass(frozen=True, slots=True)
class Memory:
    """All that a decision needs from the past. `Memory()` is that of a first start.

    Attributes
    ----------
    started_s : float or None
        Monotonic time of the first decision [s].
    overrides : tuple of (OverrideState or None)
        The state of each of `OVERRIDES`; None when calm.
    ramp : Ramp
        The speed on its way.
    switched_s : float
        When the fan was last started or stopped [s].
    lamp_cut : LampCut or None
        The lamp interlock; None when the lamp is free.
    hold : Hold or None
        A person's command, while it lasts.
    in_failsafe : bool
        Whether the last decision had no tent reading to trust.
    choice : SpeedChoice or None
        The speed that the modulating law chose; None where it had nothing to choose.
    near_warning : bool
        Whether the tent is so near to its heat warning that quiet hours give way.
    start_due_s : float
        When another start is due, were they evenly spread; see `Rules.start_every_s` [s].
    """

    started_s: float | None = None
    overrides: OverrideStates = CALM
    ramp: Ramp = AT_REST
    switched_s: float = -math.inf
    lamp_cut: LampCut | None = None
    hold: Hold | None = None
    in_failsafe: bool = False
    choice: SpeedChoice | None = None
    near_warning: bool = False
    start_due_s: float = -math.inf

    @property
    def lamp_is_cut(self) -> bool:
        """Whether the lamp interlock keeps the switched lamp dark."""
        return self.lamp_cut is not None and self.lamp_cut.is_cut

    def followed_by(self, after: Memory) -> Memory:
        """Give `after`, or this very object where nothing changed."""
        if (
            after.overrides is self.overrides
            and after.ramp is self.ramp
            and after.started_s == self.started_s
            and after.switched_s == self.switched_s
            and after.lamp_cut is self.lamp_cut
            and after.hold is self.hold
            and after.in_failsafe == self.in_failsafe
            and after.choice is self.choice
            and after.near_warning is self.near_warning
            and after.start_due_s == self.start_due_s
        ):
            return self
        return after

    def snapshot(self, now_s: float) -> dict[str, Any]:
        """Give the memory as JSON for `restore`, with ages instead of monotonic times."""
        return {
            "overrides": [
                None
                if state is None
                else {
                    "age_s": now_s - state.since_s,
                    "engaged": state.engaged,
                    "locked_out": state.locked_out,
                }
                for state in self.overrides
            ],
            "speed": self.ramp.to_speed,
            "switched_age_s": None if math.isinf(self.switched_s) else now_s - self.switched_s,
            "lamp_cut": None
            if self.lamp_cut is None
            else {"age_s": now_s - self.lamp_cut.since_s, "is_cut": self.lamp_cut.is_cut},
            "in_failsafe": self.in_failsafe,
            "near_warning": self.near_warning,
            "start_due_in_s": None if math.isinf(self.start_due_s) else self.start_due_s - now_s,
            "choice": None if self.choice is None else self.choice.snapshot(now_s),
            "hold": None
            if self.hold is None
            else {"speed": self.hold.speed, "left_s": self.hold.until_s - now_s},
        }

    @classmethod
    def restore(cls, snapshot: dict[str, Any], now_s: float, away_s: float) -> Memory:
        """Restore a snapshot that was made `away_s` ago.

        Parameters
        ----------
        snapshot : dict
            What `snapshot` gave.
        now_s : float
            Monotonic time of this process [s].
        away_s : float
            Seconds since the snapshot, at least 0; by the wall clock, so only roughly known.

        Returns
        -------
        Memory
            A delay that had begun goes on, minimum times count the pause, a hold keeps its end, and
            the failsafe lasts until a reading comes. The fan is taken to be at rest: a restarted
            daemon starts it anew.

        Raises
        ------
        ValueError
            The snapshot isn't valid; start with `Memory()` instead.
        """
        away_s = max(0.0, away_s)
        try:
            overrides = tuple(
                None
                if state is None
                else OverrideState(
                    now_s - away_s - _age_s(state["age_s"]),
                    bool(state["engaged"]),
                    bool(state["locked_out"]),
                )
                for state in snapshot["overrides"]
            )
            if len(overrides) == _BEFORE_CO2:
                overrides = (*overrides, None)
            switched_age = snapshot["switched_age_s"]
            cut, hold = snapshot["lamp_cut"], snapshot["hold"]
            choice, due_in = snapshot.get("choice"), snapshot.get("start_due_in_s")
            memory = cls(
                overrides=overrides if any(overrides) else CALM,
                switched_s=(
                    -math.inf
                    if switched_age is None or float(snapshot["speed"]) > 0.0
                    else now_s - away_s - _age_s(switched_age)
                ),
                lamp_cut=None
                if cut is None
                else LampCut(now_s - away_s - _age_s(cut["age_s"]), bool(cut["is_cut"])),
                hold=None
                if hold is None or _age_s(hold["left_s"]) <= away_s
                else Hold(_speed(hold["speed"]), now_s + _age_s(hold["left_s"]) - away_s),
                in_failsafe=bool(snapshot.get("in_failsafe", False)),
                start_due_s=-math.inf if due_in is None else now_s - away_s + _due_s(due_in),
                near_warning=bool(snapshot.get("near_warning", False)),
                choice=None
                if choice is None or "contents_c" not in choice  # of a version without them
                else SpeedChoice.restore(choice, now_s - away_s),
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise ValueError(f"not a decision snapshot: {error!r}") from error
        if len(overrides) != len(OVERRIDES):
            raise ValueError(f"expected {len(OVERRIDES)} overrides, got {len(overrides)}")
        return memory


def _age_s(value: object) -> float:
    """A time since or until something [s]; one from a damaged page must not last for ever."""
    return _within(value, _LONGEST_AGE_S)


def _due_s(value: object) -> float:
    """A time until something that may be past [s]."""
    seconds = float(value)  # type: ignore[arg-type]
    if not -_LONGEST_AGE_S <= seconds <= _LONGEST_AGE_S:
        raise ValueError(f"{seconds} is out of range")
    return seconds


def _speed(value: object) -> float:
    return _within(value, 1.0)


def _within(value: object, highest: float) -> float:
    number = float(value)  # type: ignore[arg-type]
    if not 0.0 <= number <= highest:
        raise ValueError(f"{number} is out of range")
    return number
