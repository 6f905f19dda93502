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
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from math import ceil, sqrt
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.decision import Reading
from controller.readings import Role
from simulators.rehearsal.senses import Sense
from simulators.tent import Tent
from simulators.tent_path import Path
from simulators.tent_step import SHORT_S

if TYPE_CHECKING:
    from controller.record import ReadingRow
    from controller.settings import Settings
    from simulators.fan import Fan
    from simulators.tent_physics import TentPhysics

# Pots and soil, which no sensor sees, need hours to be as they were: nothing is compared before.
_SETTLING_S = 3 * 3600.0
# A longer pause between two intervals begins anew.
_LONGEST_PAUSE_S = 900.0


class Interval(NamedTuple):
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


def intervals(rows: Iterable[ReadingRow]) -> Iterator[Interval]:
    """Give the intervals of a record that have readings of both tent and intake."""
    for row in rows:
        intake_c, intake_pct = row.intake_temperature_c, row.intake_humidity_pct
        tent_c, tent_pct = row.tent_temperature_c, row.tent_humidity_pct
        if intake_c is None or intake_pct is None or tent_c is None or tent_pct is None:
            continue
        until_s = row.at_ms / 1000
        yield Interval(
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
    ) -> None:
        self._until_s, self._more_k, self._more_pct = until_s, more_k, more_pct
        self._corrections = corrections
        self.mean_k, self.spread_k = _mean_and_spread(more_k)
        self.mean_pct, self.spread_pct = _mean_and_spread(more_pct)

    def at(self, wall_s: float) -> tuple[float, float]:
        """What was read beyond the model at a time [K], [%]; the means where nothing tells."""
        at = bisect_left(self._until_s, wall_s)
        for i in (at, at - 1):
            if 0 <= i < len(self._until_s) and abs(self._until_s[i] - wall_s) <= _LONGEST_PAUSE_S:
                return self._more_k[i], self._more_pct[i]
        return self.mean_k, self.mean_pct

    def sense(self, settings: Settings, role: Role, start_s: float) -> Sense | None:
        """Make the sense of one place out of them; None where a config has no sensors.

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

        return Sense(look)

    def as_read(self, path: Path, first_s: float, tick_s: float) -> Path:
        """Give a path as the recorded sensors would have read it.

        Parameters
        ----------
        path : Path
            States one tick apart.
        first_s : float
            When the first of them was [Unix s].
        tick_s : float
            From one to the next [s].
        """
        read = Path()
        for i, (air_c, humidity_pct) in enumerate(zip(path.air_c, path.humidity_pct, strict=True)):
            more_k, more_pct = self.at(first_s + i * tick_s)
            read.air_c.append(air_c + more_k)
            read.humidity_pct.append(min(100.0, max(0.0, humidity_pct + more_pct)))
        read.vpd_pa.extend(map(air.vpd_pa, read.air_c, read.humidity_pct))
        return read


def recorded_errors(
    lived: Iterable[Interval], settings: Settings, physics: TentPhysics, fan: Fan
) -> RecordedErrors:
    """Find how the recorded sensors erred.

    Parameters
    ----------
    lived : iterable of Interval
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
    for interval in lived:
        if tent is None or interval.from_s - until_s > _LONGEST_PAUSE_S:
            ratio = air.humidity_ratio(interval.tent_c, interval.tent_pct, physics.pressure_pa)
            tent = Tent(physics, interval.tent_c, ratio)
            settled_s = interval.from_s + _SETTLING_S
        until_s = interval.until_s
        simulated_c, simulated_pct = _live(tent, interval, fan)
        if interval.from_s >= settled_s:
            times.append(until_s)
            more_k.append(interval.tent_c - simulated_c)
            more_pct.append(interval.tent_pct - simulated_pct)
    roles: tuple[Role, Role] = ("tent", "intake")
    return RecordedErrors(
        times, more_k, more_pct, {role: corrections(settings, role) for role in roles}
    )


def corrections(settings: Settings, role: Role) -> tuple[float, float]:
    """The means of a config's corrections in one place [K], [%]."""
    there = [sensor for sensor in settings.sensors if sensor.role == role]
    count = max(1, len(there))
    return (
        sum(sensor.temperature_offset_k for sensor in there) / count,
        sum(sensor.humidity_offset_pct for sensor in there) / count,
    )


def _live(tent: Tent, interval: Interval, fan: Fan) -> tuple[float, float]:
    """Carry a tent through an interval; give its mean temperature [°C] and humidity [%]."""
    span_s = interval.until_s - interval.from_s
    steps = max(1, ceil(span_s / SHORT_S))
    step_s = span_s / steps
    on_steps = min(steps, round(interval.fan_on_s / step_s))
    flows = [(0.0, steps - on_steps)]
    if on_steps:
        speed = min(1.0, interval.fan_speed * steps / on_steps)
        flows.insert(0, (fan.flow_m3_s(speed), on_steps))
    lit = interval.lamp_on_s > 0.5 * span_s
    ratio = air.humidity_ratio(interval.intake_c, interval.intake_pct, tent.physics.pressure_pa)
    sum_c = sum_pct = 0.0
    for flow, count in flows:
        rows = tent.rows(flow, lit, step_s)
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
