"""The lamp interlock: a lamp that the controller switches is cut where it overheats the tent."""

from __future__ import annotations

from typing import NamedTuple

from controller.control.override_state import HOT
from controller.control.thresholds import Rules


class LampCut(NamedTuple):
    """The lamp interlock.

    Attributes
    ----------
    since_s : float
        When the tent passed the cutout temperature; of a lamp that is cut: when it was cut [s].
    is_cut : bool
        Whether the lamp is cut.
    """

    since_s: float
    is_cut: bool = False


def step_lamp_cut(
    cut: LampCut | None, temperature_c: float | None, rules: Rules, now_s: float
) -> LampCut | None:
    """Cut a lamp that overheats the tent; give it back when cool and after the hold-off.

    Parameters
    ----------
    cut : LampCut or None
        The state so far.
    temperature_c : float or None
        The tent's air [°C]; None without a reading to trust.
    rules : Rules
        The cutout temperature, its delay and hold-off; whether the lamp is switched at all.
    now_s : float
        Monotonic time [s].

    Returns
    -------
    LampCut or None
        The very same object when nothing changed.
    """
    if not rules.lamp_is_ours:
        return None
    if cut is not None and cut.is_cut:
        # A blind controller gives the light back after the hold-off: the fan then runs at its
        # failsafe speed, and weeks of darkness kill a crop as surely as heat.
        cool = temperature_c is None or temperature_c <= rules.cut_above_c - rules.hystereses[HOT]
        return None if cool and now_s - cut.since_s >= rules.cut_hold_off_s else cut
    if temperature_c is None:
        return cut
    is_above = temperature_c > rules.cut_above_c
    if cut is None:
        if not is_above:
            return None
        cut = LampCut(now_s)
    elif temperature_c <= rules.cut_above_c - rules.hystereses[HOT]:
        return None
    # As with an override: noise around the limit doesn't start the delay anew.
    if is_above and now_s - cut.since_s >= rules.cut_delay_s:
        cut = LampCut(now_s, is_cut=True)
    return cut
