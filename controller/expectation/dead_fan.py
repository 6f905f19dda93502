"""Whether the alarm on less air would see a dead fan within half an hour: pure."""

from __future__ import annotations

from typing import NamedTuple

from controller import air
from controller.control.forecast import (
    AHEAD_S,
    Drive,
    Leaves,
    MoistAir,
    Outlook,
    TentBalance,
    forecast,
    leaves_at,
)
from controller.expectation.rise import Air, ExpectedRise
from controller.expectation.settling import Seen, judge

# So many half hours settle a tent: each leaves a fraction of what was left before.
_SETTLES_IN = 24


class DeadFan(NamedTuple):
    """A lit tent whose fan dies, as its config lets expect.

    Attributes
    ----------
    speed : float
        What is commanded before and after, 0–1.
    turning_k, dead_k : float
        Rise over the intake air while the fan turns, and half an hour after it died [K].
    called_above_k : float
        Rise from which on the alarm calls it less air [K].
    """

    speed: float
    turning_k: float
    dead_k: float
    called_above_k: float

    @property
    def is_seen(self) -> bool:
        """Whether the alarm would be raised."""
        return self.dead_k > self.called_above_k


def dead_fan(
    expected: ExpectedRise, tent: TentBalance, drive: Drive, intake: Air, with_plants: bool = True
) -> DeadFan | None:
    """Let a settled, lit tent stand half an hour without its fan, and judge it as the alarm does.

    Parameters
    ----------
    expected : ExpectedRise
        What the alarm compares with.
    tent : TentBalance
        The tent as configured.
    drive : Drive
        The fan at the speed that is commanded.
    intake : Air
        The air drawn in.
    with_plants : bool
        Whether the plants give off what they should; seedlings and wilted ones give off next to
        nothing, and with it goes the moisture by which a heat balance tells most.

    Returns
    -------
    DeadFan or None
        None where the air functions or the fan's figures end.
    """

    def carried(start: MoistAir, drive: Drive) -> Outlook:
        leaves = leaves_at(tent, True, *start) if with_plants else Leaves(0.0, 0.0, 0.0)
        contents_c = tent.settled_contents_c(True, start.air_c)
        return forecast(tent, leaves, drive, start, outside, True, contents_c)

    try:
        ratio = air.humidity_ratio(*intake, tent.pressure_pa)
        outside = MoistAir(intake.temperature_c, ratio)
        turning = outside
        for _ in range(_SETTLES_IN):
            turning = _moist(tent, carried(turning, drive))
        before = carried(turning, drive)
        after = carried(turning, Drive(0.0, 0.0, 0.0, 0.0))
    except ValueError:  # beyond what the air functions know
        return None
    settling, _ = judge(expected, None, _seen(0.0, before, intake, drive.speed))
    _, judgement = judge(expected, settling, _seen(AHEAD_S, after, intake, drive.speed))
    if judgement is None:
        return None
    return DeadFan(
        drive.speed,
        before.air_c - intake.temperature_c,
        judgement.observed_k,
        judgement.observed_k - judgement.excess_k,
    )


def _moist(tent: TentBalance, outlook: Outlook) -> MoistAir:
    humidity_pct = min(100.0, max(0.1, outlook.humidity_pct))
    return MoistAir(
        outlook.air_c, air.humidity_ratio(outlook.air_c, humidity_pct, tent.pressure_pa)
    )


def _seen(at_s: float, outlook: Outlook, intake: Air, speed: float) -> Seen:
    return Seen(at_s, Air(outlook.air_c, outlook.humidity_pct), intake, speed, speed, lit=True)
