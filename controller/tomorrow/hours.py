"""The air drawn in, the lamp and the air outdoors, hour by hour on one grid."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller import air

if TYPE_CHECKING:
    from controller.record.rows import ReadingRow
    from controller.timetable import Timetable

HOUR_S = 3600.0
DAY_HOURS = 24

# An hour of which less was recorded is not known.
_LEAST_KNOWN_S = 1200.0
_G_PER_KG = 1000.0


class RoomHours(NamedTuple):
    """Some days of a tent's intake air and lamp, and hours to come of the lamp.

    Attributes
    ----------
    start_s : float
        The beginning of the first hour, a whole hour [Unix s].
    temperature_c, ratio_g_kg : sequence of float or None
        Shape (n,): temperature [°C] and humidity ratio [g/kg] of the intake air; None where it is
        not known.
    lit : sequence of float
        Shape (m,), m ≥ n: share of each hour with the lamp lit, 0–1.
    """

    start_s: float
    temperature_c: Sequence[float | None]
    ratio_g_kg: Sequence[float | None]
    lit: Sequence[float]

    def hour_of(self, at_s: float) -> int:
        """The hour in which an instant lies [Unix s]; negative before the first."""
        return math.floor((at_s - self.start_s) / HOUR_S)

    def middle_s(self, index: int) -> float:
        """The middle of an hour [Unix s]."""
        return self.start_s + (index + 0.5) * HOUR_S


class OutdoorHours(NamedTuple):
    """The air outdoors on the same grid, past and to come.

    Attributes
    ----------
    temperature_c, ratio_g_kg : sequence of float or None
        Shape (m,): temperature [°C] and humidity ratio [g/kg]; None before the file begins.
    """

    temperature_c: Sequence[float | None]
    ratio_g_kg: Sequence[float | None]


def room_hours(
    rows: Iterable[ReadingRow],
    from_s: float,
    until_s: float,
    ahead_s: float,
    pressure_pa: float,
    timetable: Timetable,
) -> RoomHours:
    """Hourly means of a record.

    Parameters
    ----------
    rows : iterable of ReadingRow
        In order of time.
    from_s, until_s : float
        What is looked at [Unix s].
    ahead_s : float
        Up to when the lamp's hours are needed [Unix s].
    pressure_pa : float
        Of the air [Pa].
    timetable : Timetable
        When the lamp is lit in hours to come, and in those that were not recorded.
    """
    start_s = math.floor(from_s / HOUR_S) * HOUR_S
    count = max(1, math.floor((until_s - start_s) / HOUR_S))
    sums = [[0.0, 0.0, 0.0, 0.0, 0.0] for _ in range(count)]
    for row in rows:
        index = math.floor((row.at_ms / 1000.0 - 0.5 * row.interval_s - start_s) / HOUR_S)
        if not 0 <= index < count:
            continue
        total = sums[index]
        total[0] += row.interval_s
        total[1] += row.lamp_on_s
        intake_c, intake_pct = row.intake_temperature_c, row.intake_humidity_pct
        if intake_c is None or intake_pct is None:
            continue
        ratio = _G_PER_KG * air.humidity_ratio(intake_c, intake_pct, pressure_pa)
        total[2] += row.interval_s
        total[3] += row.interval_s * intake_c
        total[4] += row.interval_s * ratio
    known = [total[2] >= _LEAST_KNOWN_S for total in sums]
    ahead = max(count, math.ceil((ahead_s - start_s) / HOUR_S))
    lit = [
        min(1.0, sums[i][1] / sums[i][0])
        if i < count and sums[i][0] >= _LEAST_KNOWN_S
        else lit_share(timetable, start_s + i * HOUR_S, start_s + (i + 1) * HOUR_S)
        for i in range(ahead)
    ]

    def means(place: int) -> list[float | None]:
        pairs = zip(sums, known, strict=True)
        return [total[place] / total[2] if is_known else None for total, is_known in pairs]

    return RoomHours(start_s, means(3), means(4), lit)


def lit_share(timetable: Timetable, from_s: float, until_s: float) -> float:
    """Share of a stretch in which the lamp is lit by the timetable, 0–1."""
    lit_s, at_s = 0.0, from_s
    while at_s < until_s:
        state = timetable.state(at_s)
        end_s = min(until_s, state.valid_until_s)
        lit_s += (end_s - at_s) * state.lamp_on
        at_s = end_s
    return lit_s / (until_s - from_s)
