"""A series of outdoor temperature and vapour pressure, interpolated; gaps bridged up to a bound."""

from __future__ import annotations

import datetime as dt
from array import array
from bisect import bisect_right
from itertools import pairwise

from controller.display import duration
from controller.errors import UserError

# Up to so long a gap inside the data is bridged by a straight line.
LONGEST_GAP_S = 6 * 3600.0
# Up to so long before its beginning and after its end, data are made up by repeating the day next
# to them: files are cut at midnight of some zone, and seldom of the tent's.
LONGEST_MARGIN_S = 48 * 3600.0
_DAY_S = 86_400.0


class WeatherError(UserError):
    """A weather file that can't be used; the message names the file and line."""

    def __init__(self, message: str) -> None:
        super().__init__(message, status=2)


class Weather:
    """Outdoor air by time.

    Parameters
    ----------
    name : str
        What to call it in messages.
    times_s : sequence of float
        Rising, at least two; seconds since the Unix epoch, UTC [s].
    temperatures_c : sequence of float
        Dry-bulb temperature at those times [°C].
    vapour_pa : sequence of float
        Vapour pressure at those times [Pa].
    lines : sequence of int
        Line of the file each came from; for messages.
    notes : tuple of str
        What the user should know of these data.
    """

    __slots__ = ("lines", "name", "notes", "temperatures_c", "times_s", "vapour_pa")

    def __init__(
        self,
        name: str,
        times_s: array[float],
        temperatures_c: array[float],
        vapour_pa: array[float],
        lines: array[int],
        notes: tuple[str, ...] = (),
    ) -> None:
        self.name = name
        self.times_s = times_s
        self.temperatures_c = temperatures_c
        self.vapour_pa = vapour_pa
        self.lines = lines
        self.notes = notes

    def at(self, wall_s: float) -> tuple[float, float]:
        """Give temperature [°C] and vapour pressure [Pa] at a time, interpolated.

        Before the first and after the last value those are held; `covering` sees to it that no
        rehearsal gets there.
        """
        times = self.times_s
        i = min(max(bisect_right(times, wall_s) - 1, 0), len(times) - 2)
        share = min(max((wall_s - times[i]) / (times[i + 1] - times[i]), 0.0), 1.0)
        temperatures, vapour = self.temperatures_c, self.vapour_pa
        return (
            temperatures[i] + share * (temperatures[i + 1] - temperatures[i]),
            vapour[i] + share * (vapour[i + 1] - vapour[i]),
        )

    def covering(self, from_s: float, until_s: float) -> Weather:
        """Give weather for the whole of [from_s, until_s], with notes on what was made up.

        Raises
        ------
        WeatherError
            When it lacks more than the bounds above allow.
        """
        first_s, last_s = self.times_s[0], self.times_s[-1]
        if from_s < first_s - LONGEST_MARGIN_S or until_s > last_s + LONGEST_MARGIN_S:
            raise WeatherError(
                f"{self.name} covers {utc(first_s)} to {utc(last_s)}, but the days asked for "
                f"run from {utc(from_s)} to {utc(until_s)}; choose other days or other weather"
            )
        notes = list(self.notes)
        usual_s = self.usual_step_s
        longest = 0.0
        bridged = 0
        start = max(bisect_right(self.times_s, from_s) - 1, 0)
        for i in range(start, len(self.times_s) - 1):
            if self.times_s[i] >= until_s:
                break
            gap = self.times_s[i + 1] - self.times_s[i]
            if gap > LONGEST_GAP_S:
                raise WeatherError(
                    f"{self.name}:{self.lines[i]}: nothing between {utc(self.times_s[i])} and "
                    f"{utc(self.times_s[i + 1])}; gaps of up to {duration(LONGEST_GAP_S)} are "
                    "bridged, this one is longer: fill it or choose other days"
                )
            if gap > usual_s * 1.5:
                bridged += 1
                longest = max(longest, gap)
        if bridged:
            word = "gap" if bridged == 1 else "gaps"
            notes.append(
                f"{bridged} {word} in the weather bridged by a straight line, "
                f"the longest of {duration(longest)}"
            )
        if from_s >= first_s and until_s <= last_s:
            return Weather(
                self.name,
                self.times_s,
                self.temperatures_c,
                self.vapour_pa,
                self.lines,
                tuple(notes),
            )
        return self._padded(from_s, until_s, notes)

    @property
    def usual_step_s(self) -> float:
        """The median distance of two values [s]."""
        gaps = sorted(b - a for a, b in pairwise(self.times_s[: 24 * 14]))
        return gaps[len(gaps) // 2]

    def _padded(self, from_s: float, until_s: float, notes: list[str]) -> Weather:
        """Repeat the first day before it and the last day after it."""
        first_s, last_s = self.times_s[0], self.times_s[-1]
        period = min(_DAY_S, last_s - first_s)
        step = self.usual_step_s
        before, after = array("d"), array("d")
        t = first_s - step
        while t > from_s - step:
            before.insert(0, t)
            t -= step
        t = last_s + step
        while t < until_s + step:
            after.append(t)
            t += step
        head = [self.at(_folded(t, first_s, period, forward=True)) for t in before]
        tail = [self.at(_folded(t, last_s, period, forward=False)) for t in after]
        for missing, side, day in (
            (first_s - from_s, "first", "after"),
            (until_s - last_s, "last", "before"),
        ):
            if missing > 0.0:
                notes.append(
                    f"the weather has no data for the {side} {duration(missing)}; "
                    f"they repeat the day {day}"
                )
        return Weather(
            self.name,
            before + self.times_s + after,
            array("d", (t for t, _ in head))
            + self.temperatures_c
            + array("d", (t for t, _ in tail)),
            array("d", (e for _, e in head)) + self.vapour_pa + array("d", (e for _, e in tail)),
            array("l", [self.lines[0]] * len(head))
            + self.lines
            + array("l", [self.lines[-1]] * len(tail)),
            tuple(notes),
        )


def _folded(t: float, edge_s: float, period_s: float, *, forward: bool) -> float:
    """Move a time beyond the data by whole periods to within them."""
    while (t < edge_s) if forward else (t > edge_s):
        t += period_s if forward else -period_s
    return t


def utc(wall_s: float) -> str:
    """An instant [Unix s], for messages about a file."""
    return dt.datetime.fromtimestamp(wall_s, dt.UTC).strftime("%Y-%m-%d %H:%M UTC")
