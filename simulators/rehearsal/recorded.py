"""Recorded days: the air drawn in, and what was measured and done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from math import inf, sqrt
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.control import Rule
from controller.display import duration
from controller.errors import UserError
from controller.record import EventRow, ReadingRow
from simulators.rehearsal.outcome import Outcome, Trajectory
from simulators.tent import Tent
from simulators.tent.outflow import NOTHING, GivenOff

if TYPE_CHECKING:
    from controller.config import Settings

# A pause between two readings that is worth a word [s].
_GAP_S = 900.0


class Knot(NamedTuple):
    """What was measured around the middle of a record interval."""

    at_s: float
    intake_c: float
    intake_pct: float
    tent_c: float | None
    tent_pct: float | None


def knots(rows: Iterable[ReadingRow]) -> Iterator[Knot]:
    """Give the intervals that have an intake reading, by their middles."""
    for row in rows:
        if row.intake_temperature_c is not None and row.intake_humidity_pct is not None:
            yield Knot(
                row.at_ms / 1000 - 0.5 * row.interval_s,
                row.intake_temperature_c,
                row.intake_humidity_pct,
                row.tent_temperature_c,
                row.tent_humidity_pct,
            )


@dataclass(slots=True)
class Fit:
    """How far the simulated tent was from the recorded one, at the same times.

    Attributes
    ----------
    count : int
        Times compared.
    sum_k, squares_k2, sum_pct, squares_pct2 : float
        Of simulated less recorded temperature [K] and humidity [%].
    """

    count: int = 0
    sum_k: float = 0.0
    squares_k2: float = 0.0
    sum_pct: float = 0.0
    squares_pct2: float = 0.0

    def add(self, error_k: float, error_pct: float) -> None:
        """Take in one comparison."""
        self.count += 1
        self.sum_k += error_k
        self.squares_k2 += error_k * error_k
        self.sum_pct += error_pct
        self.squares_pct2 += error_pct * error_pct

    @property
    def mean_k(self) -> float:
        """Mean difference of temperature [K]."""
        return self.sum_k / self.count if self.count else 0.0

    @property
    def rms_k(self) -> float:
        """Root mean square difference of temperature [K]."""
        return sqrt(self.squares_k2 / self.count) if self.count else 0.0

    @property
    def spread_k(self) -> float:
        """Root mean square difference of temperature about its mean [K]: no constant error."""
        return sqrt(max(0.0, self.rms_k**2 - self.mean_k**2))

    @property
    def mean_pct(self) -> float:
        """Mean difference of relative humidity [%]."""
        return self.sum_pct / self.count if self.count else 0.0

    @property
    def rms_pct(self) -> float:
        """Root mean square difference of relative humidity [%]."""
        return sqrt(self.squares_pct2 / self.count) if self.count else 0.0

    @property
    def spread_pct(self) -> float:
        """Root mean square difference of relative humidity about its mean [%]."""
        return sqrt(max(0.0, self.rms_pct**2 - self.mean_pct**2))


class RecordedAir:
    """The recorded intake air, as straight lines between readings; see `simulators.intake`.

    Parameters
    ----------
    readings : iterator of Knot
        In order of time; read as far as needed.
    pressure_pa : float
        Of the air [Pa].

    Attributes
    ----------
    tent : Tent or None
        The simulated tent; once set, it is compared with the recorded one at every knot.
    fit : Fit
        What came of comparing.
    gap_s : float
        The longest pause bridged [s].
    """

    __slots__ = (
        "_next",
        "_pressure_pa",
        "_readings",
        "air_c",
        "air_c_s",
        "fit",
        "from_s",
        "gap_s",
        "humidity_pct",
        "humidity_pct_s",
        "ratio",
        "ratio_s",
        "tent",
        "until_s",
    )

    def __init__(self, readings: Iterator[Knot], pressure_pa: float) -> None:
        self._readings = readings
        self._pressure_pa = pressure_pa
        first = next(readings, None)
        if first is None:
            raise UserError(
                "the record has no intake readings in this time; a replay needs to know the air "
                "that was drawn in: give the tent a sensor with role: intake"
            )
        self._next: Knot | None = first
        self.tent: Tent | None = None
        self.fit = Fit()
        self.gap_s = 0.0
        self.air_c = self.ratio = self.humidity_pct = 0.0
        self.from_s = self.until_s = first.at_s
        self._go_to_next()

    def go_on(self, at_s: float, given: GivenOff = NOTHING) -> None:
        """Go on to the readings around a time; what the tent gives off is in them already."""
        while at_s >= self.until_s:
            self._go_to_next()

    def _go_to_next(self) -> None:
        here = self._next
        if here is None:  # past the end: the last values are held
            self.from_s, self.until_s = self.until_s, inf
            self.air_c_s = self.ratio_s = self.humidity_pct_s = 0.0
            return
        if self.tent is not None and here.tent_c is not None and here.tent_pct is not None:
            self.fit.add(self.tent.air_c - here.tent_c, self.tent.humidity_pct - here.tent_pct)
        self.from_s = here.at_s
        self.air_c, self.humidity_pct = here.intake_c, here.intake_pct
        self.ratio = self._ratio(here)
        there = self._next = next(self._readings, None)
        if there is None:
            self.until_s = inf
            self.air_c_s = self.ratio_s = self.humidity_pct_s = 0.0
            return
        self.until_s = there.at_s
        span_s = max(there.at_s - here.at_s, 1e-3)
        self.gap_s = max(self.gap_s, span_s)
        self.air_c_s = (there.intake_c - here.intake_c) / span_s
        self.humidity_pct_s = (there.intake_pct - here.intake_pct) / span_s
        self.ratio_s = (self._ratio(there) - self.ratio) / span_s

    def _ratio(self, knot: Knot) -> float:
        return air.humidity_ratio(knot.intake_c, knot.intake_pct, self._pressure_pa)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was bridged."""
        if self.gap_s <= _GAP_S:
            return ()
        return (f"up to {duration(self.gap_s)} without intake readings bridged by a straight line",)


def recorded_outcome(
    rows: Iterable[ReadingRow],
    events: Iterable[EventRow],
    settings: Settings,
    power_w: Callable[[float], float],
    start_s: float,
    until_s: float,
) -> Outcome:
    """Count what the record says, in the same figures as a rehearsal and by a config's bands.

    Parameters
    ----------
    rows : iterable of ReadingRow
        Of the time.
    events : iterable of EventRow
        Of the time; `fan.changed` and `override.engaged` are counted.
    settings : Settings
        Whose bands.
    power_w : callable
        Electrical power of the fan by speed [W].
    start_s, until_s : float
        The time [Unix s].
    """
    outcome = Outcome(start_s, until_s)
    targets = settings.targets
    for row in rows:
        outcome.fan.on_s += row.fan_on_s
        outcome.fan.speed_s += row.fan_speed * row.interval_s
        if row.fan_on_s > 0.0:
            speed = min(1.0, row.fan_speed * row.interval_s / row.fan_on_s)
            outcome.fan.energy_j += power_w(speed) * row.fan_on_s
        minutes = row.interval_s / 60.0
        if row.locked_out:
            outcome.locked_out_min += minutes
        if row.rule == Rule.SENSOR_FAILSAFE.value:
            outcome.failsafe_min += minutes
        if row.tent_temperature_c is None or row.tent_humidity_pct is None:
            continue
        at_s = row.at_ms / 1000
        state = Trajectory(row.lamp_on, at_s - row.interval_s)
        vpd_pa = air.vpd_pa(row.tent_temperature_c, row.tent_humidity_pct)
        state.add(row.tent_temperature_c, row.tent_humidity_pct, vpd_pa)
        outcome.count(state, targets, row.interval_s)
        outcome.ticks += 1
    for event in events:
        if event.name == "fan.changed" and event.data.get("speed") and not event.data.get("was"):
            outcome.fan.starts += 1
        elif event.name == "override.engaged":
            try:
                outcome.engaged[Rule(str(event.data.get("rule")))] += 1
            except ValueError:
                continue
    return outcome
