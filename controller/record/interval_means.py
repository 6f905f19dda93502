"""Averages ticks into one reading per record interval, for a tent and for a rehearsal alike."""

from __future__ import annotations

import math

from controller import air
from controller.record.rows import ReadingRow

# After a pause this long the process hung or the machine slept, and what the air did meanwhile is
# not known. Such a stretch is left out.
_GAP_S = 60.0
# The shortest interval that gets a row [s].
_LEAST_S = 1.0


class IntervalMeans:
    """Time-weighted means, extremes and seconds on, by running sums.

    The values of a tick hold until the next one. Lengths are monotonic; only the label of a row
    and the alignment of the ends to whole multiples of the interval come from the wall clock, so
    a clock step shortens or lengthens one interval and falsifies none.

    Parameters
    ----------
    interval_s : float
        Length of the record interval [s], above 0.
    """

    __slots__ = (
        "_at_s",
        "_covered_s",
        "_due_s",
        "_gap_s",
        "_intake_c",
        "_intake_c_s",
        "_intake_pct",
        "_intake_pct_s",
        "_intake_s",
        "_interval_s",
        "_lamp_on",
        "_lamp_on_s",
        "_last",
        "_locked_out_s",
        "_on_s",
        "_rpm",
        "_rpm_n",
        "_rpm_sum",
        "_rule_s",
        "_speed",
        "_speed_s",
        "_tent_c",
        "_tent_c_max",
        "_tent_c_min",
        "_tent_c_s",
        "_tent_pct",
        "_tent_pct_max",
        "_tent_pct_min",
        "_tent_pct_s",
        "_tent_s",
    )

    def __init__(self, interval_s: float) -> None:
        if not interval_s > 0:
            raise ValueError(f"interval_s must be above 0 s, got {interval_s}")
        self._interval_s = interval_s
        self._gap_s = max(interval_s, _GAP_S)
        self._due_s = math.nan  # not started
        self._at_s = math.nan
        self._tent_c: float | None = None
        self._tent_pct = 0.0
        self._intake_c: float | None = None
        self._intake_pct = 0.0
        self._speed = 0.0
        self._lamp_on = False
        self._last = (False, False, "", False)
        self._clear()

    def _clear(self) -> None:
        self._covered_s = 0.0
        self._tent_s = self._tent_c_s = self._tent_pct_s = 0.0
        self._tent_c_min = self._tent_pct_min = math.inf
        self._tent_c_max = self._tent_pct_max = -math.inf
        self._intake_s = self._intake_c_s = self._intake_pct_s = 0.0
        self._speed_s = self._on_s = self._lamp_on_s = 0.0
        self._rpm_sum = 0.0
        self._rpm_n = 0
        self._rule_s: dict[str, float] = {}
        self._locked_out_s = 0.0

    def add(
        self,
        monotonic_s: float,
        wall_s: float,
        tent_c: float | None,
        tent_pct: float | None,
        intake_c: float | None,
        intake_pct: float | None,
        speed: float,
        lamp_on: bool,
        in_fan_hours: bool,
        rule: str,
        locked_out: bool = False,
        rpm: float | None = None,
    ) -> ReadingRow | None:
        """Add one tick.

        Parameters
        ----------
        monotonic_s, wall_s : float
            The tick's instant on both clocks [s].
        tent_c, intake_c : float or None
            Trusted temperatures [°C]; None where nothing can be trusted.
        tent_pct, intake_pct : float or None
            Trusted relative humidities [%]; None with the temperature.
        speed : float
            Commanded speed from now on, 0–1.
        lamp_on, in_fan_hours, locked_out : bool
            As they are from now on.
        rule : str
            The deciding row from now on.
        rpm : float or None
            The fan as measured [1/min].

        Returns
        -------
        ReadingRow or None
            The interval that ended with this tick, if one did, without its sensors.
        """
        self._add_time_until(monotonic_s)
        row = None
        if not monotonic_s < self._due_s:
            row = self._end(monotonic_s, wall_s, lamp_on, in_fan_hours)
        self._last = (lamp_on, in_fan_hours, rule, locked_out)
        self._at_s = monotonic_s
        self._speed = speed
        self._lamp_on = lamp_on
        self._intake_c = intake_c if intake_pct is not None else None
        self._intake_pct = intake_pct or 0.0
        if tent_c is None or tent_pct is None:
            self._tent_c = None
        else:
            if tent_c is not self._tent_c or not self._tent_s:
                if tent_c < self._tent_c_min:
                    self._tent_c_min = tent_c
                if tent_c > self._tent_c_max:
                    self._tent_c_max = tent_c
                self._tent_c = tent_c
            if tent_pct is not self._tent_pct or not self._tent_s:
                if tent_pct < self._tent_pct_min:
                    self._tent_pct_min = tent_pct
                if tent_pct > self._tent_pct_max:
                    self._tent_pct_max = tent_pct
                self._tent_pct = tent_pct
        if rpm is not None:
            self._rpm_sum += rpm
            self._rpm_n += 1
        return row

    def finish(self, monotonic_s: float, wall_s: float) -> ReadingRow | None:
        """End the current interval early, since no more ticks will come.

        Parameters
        ----------
        monotonic_s, wall_s : float
            The instant on both clocks [s].

        Returns
        -------
        ReadingRow or None
            None if there is less than a second of it.
        """
        self._add_time_until(monotonic_s)
        self._at_s = monotonic_s
        if self._covered_s < _LEAST_S:
            return None
        return self._end(monotonic_s, wall_s, *self._last[:2])

    def _add_time_until(self, monotonic_s: float) -> None:
        """Add the time since the last tick, with the values of that tick."""
        past_s = monotonic_s - self._at_s
        if 0.0 < past_s <= self._gap_s:  # false at the first tick, whose `past_s` is NaN
            self._covered_s += past_s
            _, _, rule, locked_out = self._last
            self._rule_s[rule] = self._rule_s.get(rule, 0.0) + past_s
            if locked_out:
                self._locked_out_s += past_s
            if self._tent_c is not None:
                self._tent_s += past_s
                self._tent_c_s += self._tent_c * past_s
                self._tent_pct_s += self._tent_pct * past_s
            if self._intake_c is not None:
                self._intake_s += past_s
                self._intake_c_s += self._intake_c * past_s
                self._intake_pct_s += self._intake_pct * past_s
            if self._speed:
                self._on_s += past_s
                self._speed_s += self._speed * past_s
            if self._lamp_on:
                self._lamp_on_s += past_s

    def _end(
        self,
        monotonic_s: float,
        wall_s: float,
        lamp_on: bool,
        in_fan_hours: bool,
    ) -> ReadingRow | None:
        left_s = self._interval_s - wall_s % self._interval_s
        # Drift between the clocks may end an interval a little early: then not again at once.
        self._due_s = monotonic_s + (
            left_s
            if left_s > self._interval_s / 2 or self._covered_s == 0
            else left_s + self._interval_s
        )
        covered_s = self._covered_s
        if covered_s <= 0.0:
            return None
        tent_c = tent_pct = intake_c = intake_pct = vpd_pa = dew_point_c = None
        if self._tent_s:
            tent_c = self._tent_c_s / self._tent_s
            tent_pct = self._tent_pct_s / self._tent_s
            vpd_pa, dew_point_c = _derived(tent_c, tent_pct)
        if self._intake_s:
            intake_c = self._intake_c_s / self._intake_s
            intake_pct = self._intake_pct_s / self._intake_s
        row = ReadingRow(
            at_ms=round(wall_s * 1000),
            interval_s=covered_s,
            tent_temperature_c=tent_c,
            tent_temperature_min_c=None if tent_c is None else self._tent_c_min,
            tent_temperature_max_c=None if tent_c is None else self._tent_c_max,
            tent_humidity_pct=tent_pct,
            tent_humidity_min_pct=None if tent_c is None else self._tent_pct_min,
            tent_humidity_max_pct=None if tent_c is None else self._tent_pct_max,
            tent_vpd_pa=vpd_pa,
            tent_dew_point_c=dew_point_c,
            intake_temperature_c=intake_c,
            intake_humidity_pct=intake_pct,
            fan_speed=self._speed_s / covered_s,
            fan_on_s=self._on_s,
            fan_rpm=self._rpm_sum / self._rpm_n if self._rpm_n else None,
            lamp_on=bool(lamp_on),
            lamp_on_s=self._lamp_on_s,
            in_fan_hours=bool(in_fan_hours),
            rule=str(max(self._rule_s, key=self._rule_s.__getitem__)),
            locked_out=2.0 * self._locked_out_s >= covered_s,
        )
        self._clear()
        return row


def _derived(temperature_c: float, humidity_pct: float) -> tuple[float | None, float | None]:
    """VPD [Pa] and dew point [°C] of the means; None where they have none, as at 0 %."""
    try:
        return air.vpd_pa(temperature_c, humidity_pct), air.dew_point_c(temperature_c, humidity_pct)
    except ValueError:
        return None, None
