"""How the recorded sensors erred, as far as a record tells: for replays of its days.

A replay draws no sensors of its own. The intake air it goes by is what the intake's sensor read,
so that is read again. At the tent, what was read beyond what the tent's model has, with fan, lamp
and intake air as they were recorded, is read beyond it in the replay too. In a simulated record
that is what the sensors erred by; in a real one it holds the model's error and everything else the
model does not know, such as an open door, and nothing can tell these apart. Either way a replay
with the same config decides by what was read, as the record's daemon did.
"""

from __future__ import annotations

from array import array
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from math import ceil, sqrt
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.control import Reading
from controller.control.plausibility import Role
from simulators.rehearsal.outcome import Trajectory
from simulators.sensor_error import Look
from simulators.tent import Tent
from simulators.tent.step import SHORT_S

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record import ReadingRow
    from controller.tent_physics import TentPhysics
    from simulators.fan import Fan

# Pots and soil, which no sensor sees, are taken to be as warm as the air at first and need hours to
# be as they were: nothing is compared before.
_SETTLING_S = 3 * 3600.0
# A longer pause between two intervals begins anew.
_LONGEST_PAUSE_S = 900.0


class ErrorInterval(NamedTuple):
    """What a record has of one interval.

    Attributes
    ----------
    from_s, until_s : float
        The interval [Unix s].
    intake_c, intake_pct, tent_c, tent_pct : float
        Readings [°C, %].
    fan_speed : float
        Its mean over the interval, 0–1.
    fan_on_s, lamp_on_s : float
        For how long they were on [s].
    """

    from_s: float
    until_s: float
    intake_c: float
    intake_pct: float
    tent_c: float
    tent_pct: float
    fan_speed: float
    fan_on_s: float
    lamp_on_s: float


def intervals(rows: Iterable[ReadingRow]) -> Iterator[ErrorInterval]:
    """Give the intervals of a record that have readings of both tent and intake."""
    for row in rows:
        intake_c, intake_pct = row.intake_temperature_c, row.intake_humidity_pct
        tent_c, tent_pct = row.tent_temperature_c, row.tent_humidity_pct
        if intake_c is None or intake_pct is None or tent_c is None or tent_pct is None:
            continue
        until_s = row.at_ms / 1000
        yield ErrorInterval(
            until_s - row.interval_s,
            until_s,
            intake_c,
            intake_pct,
            tent_c,
            tent_pct,
            row.fan_speed,
            row.fan_on_s,
            row.lamp_on_s,
        )


class TentAt(NamedTuple):
    """The simulated tent at a time [Unix s]: air and contents [°C], humidity ratio [kg/kg]."""

    at_s: float
    air_c: float
    contents_c: float
    humidity_ratio: float


class RecordedErrors:
    """What the tent's sensors read beyond the simulated tent, by time.

    Parameters
    ----------
    until_s : sequence of float
        Ends of the intervals, rising [Unix s].
    more_k, more_pct : sequence of float
        What was read beyond the model in each [K], [%].
    corrections : dict of Role to (float, float)
        The means of the config's corrections then [K], [%].
    tents : sequence of TentAt
        The simulated tent with fan, lamp and intake air as recorded, in order of time.

    Attributes
    ----------
    mean_k, mean_pct : float
        Their means: a sensor's constant error, or the model's [K], [%].
    spread_k, spread_pct : float
        Root mean square about the means: how well the model follows the days, whatever the
        sensors' constant errors [K], [%].
    """

    def __init__(
        self,
        until_s: Sequence[float],
        more_k: Sequence[float],
        more_pct: Sequence[float],
        corrections: dict[Role, tuple[float, float]],
        tents: Sequence[TentAt] = (),
    ) -> None:
        self._until_s, self._more_k, self._more_pct = until_s, more_k, more_pct
        self._corrections = corrections
        self._tents = tents
        self.mean_k, self.spread_k = _mean_and_spread(more_k)
        self.mean_pct, self.spread_pct = _mean_and_spread(more_pct)

    def begin(self, tent: Tent, at_s: float) -> None:
        """Set a fresh tent to the simulated one's state at a time [Unix s], where that is known."""
        i = bisect_right(self._tents, at_s, key=lambda known: known.at_s) - 1
        if i >= 0 and at_s - self._tents[i].at_s <= _LONGEST_PAUSE_S:
            _, tent.air_c, tent.contents_c, tent.humidity_ratio = self._tents[i]
            tent.settle_vapour()

    def at(self, wall_s: float) -> tuple[float, float]:
        """What was read beyond the model at a time [K], [%]; the means where nothing tells."""
        at = bisect_right(self._until_s, wall_s)
        for i in (at, at - 1):
            if 0 <= i < len(self._until_s) and abs(self._until_s[i] - wall_s) <= _LONGEST_PAUSE_S:
                return self._more_k[i], self._more_pct[i]
        return self.mean_k, self.mean_pct

    def sense(self, settings: Settings, role: Role, start_s: float) -> Look | None:
        """Make the combined sense of one place, as `senses.sense`, out of them.

        Parameters
        ----------
        settings : Settings
            Of the config that is tried; its corrections may be others than the recorded ones.
        role : {"tent", "intake"}
            Which place.
        start_s : float
            When the rehearsal's own time is 0 [Unix s].
        """
        if not any(sensor.role == role for sensor in settings.sensors):
            return None
        now, then = corrections(settings, role), self._corrections[role]
        offset_k, offset_pct = now[0] - then[0], now[1] - then[1]
        at: Callable[[float], tuple[float, float]] = (
            self.at if role == "tent" else lambda wall_s: (0.0, 0.0)
        )

        def look(now_s: float, air_c: float, humidity_pct: float) -> Reading | None:
            more_k, more_pct = at(start_s + now_s)
            read_pct = min(100.0, max(0.0, humidity_pct + more_pct + offset_pct))
            return Reading(now_s, air_c + more_k + offset_k, read_pct)

        return look

    def as_read(self, states: Trajectory, tick_s: float) -> Trajectory:
        """Give states, one a tick, as the recorded sensors would have read them."""
        read = Trajectory(states.by_day, states.from_s)
        for i, (air_c, pct) in enumerate(zip(states.air_c, states.humidity_pct, strict=True), 1):
            more_k, more_pct = self.at(states.from_s + i * tick_s)
            read.air_c.append(air_c + more_k)
            read.humidity_pct.append(min(100.0, max(0.0, pct + more_pct)))
        read.vpd_pa.extend(map(air.vpd_pa, read.air_c, read.humidity_pct))
        return read


def recorded_errors(
    recorded: Iterable[ErrorInterval], settings: Settings, physics: TentPhysics, fan: Fan
) -> RecordedErrors:
    """Find how the recorded sensors erred.

    Parameters
    ----------
    recorded : iterable of ErrorInterval
        In order of time. Intervals of a minute follow a fan that is switched every few minutes;
        means over ten minutes do not.
    settings : Settings
        Those in force then.
    physics, fan
        Of that config.

    Returns
    -------
    RecordedErrors
        For `rehearse`.
    """
    tent: Tent | None = None
    settled_s = until_s = 0.0
    times, more_k, more_pct = array("d"), array("d"), array("d")
    tents: list[TentAt] = []
    for interval in recorded:
        if tent is None or interval.from_s - until_s > _LONGEST_PAUSE_S:
            ratio = air.humidity_ratio(interval.tent_c, interval.tent_pct, physics.pressure_pa)
            tent = Tent(physics, interval.tent_c, ratio)
            settled_s = interval.from_s + _SETTLING_S
            tents.append(_now(tent, interval.from_s))
        until_s = interval.until_s
        simulated_c, simulated_pct = _live(tent, interval, fan)
        tents.append(_now(tent, until_s))
        if until_s > settled_s:
            times.append(until_s)
            more_k.append(interval.tent_c - simulated_c)
            more_pct.append(interval.tent_pct - simulated_pct)
    roles: tuple[Role, Role] = ("tent", "intake")
    offsets = {role: corrections(settings, role) for role in roles}
    return RecordedErrors(times, more_k, more_pct, offsets, tents)


def corrections(settings: Settings, role: Role) -> tuple[float, float]:
    """The means of a config's corrections in one place [K], [%]."""
    there = [sensor for sensor in settings.sensors if sensor.role == role]
    count = max(1, len(there))
    return (
        sum(sensor.temperature_offset_k for sensor in there) / count,
        sum(sensor.humidity_offset_pct for sensor in there) / count,
    )


def _now(tent: Tent, at_s: float) -> TentAt:
    return TentAt(at_s, tent.air_c, tent.contents_c, tent.humidity_ratio)


def _live(tent: Tent, interval: ErrorInterval, fan: Fan) -> tuple[float, float]:
    """Carry a tent through an interval; give its mean temperature [°C] and humidity [%]."""
    span_s = interval.until_s - interval.from_s
    steps = max(1, ceil(span_s / SHORT_S))
    step_s = span_s / steps
    on_steps = min(steps, round(interval.fan_on_s / step_s))
    runs = [(0.0, steps - on_steps)]
    if on_steps:
        runs.insert(0, (min(1.0, interval.fan_speed * steps / on_steps), on_steps))
    lit = interval.lamp_on_s > 0.5 * span_s
    ratio = air.humidity_ratio(interval.intake_c, interval.intake_pct, tent.physics.pressure_pa)
    sum_c = sum_pct = 0.0
    for speed, count in runs:
        rows = tent.rows(fan.flow_m3_s(speed), lit, step_s, fan.heat_w(speed))
        for _ in range(count):
            before_c, before_pct = tent.air_c, tent.humidity_pct
            tent.step(rows, interval.intake_c, interval.intake_c, ratio)
            sum_c += 0.5 * (before_c + tent.air_c)
            sum_pct += 0.5 * (before_pct + tent.humidity_pct)
    return sum_c / steps, sum_pct / steps


def _mean_and_spread(values: Sequence[float]) -> tuple[float, float]:
    if not values:
        return 0.0, 0.0
    mean = sum(values) / len(values)
    return mean, sqrt(sum((value - mean) ** 2 for value in values) / len(values))
