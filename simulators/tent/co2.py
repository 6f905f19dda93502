"""The CO2 of a tent: it acts on nothing else, so it follows later, all at once."""

from __future__ import annotations

from math import expm1

from simulators.tent.step import StepRows

# While it changes, it is stepped by so much, for the uptake is not linear; but once it is so near
# to where it is going, nothing is lost by going there at once.
_STEP_S = 300.0
_NEAR_PPM = 1.0


class TentCO2:
    """CO2 in a tent's air.

    Parameters
    ----------
    ppm : float
        At the start, inside and of the air drawn in [ppm].

    Attributes
    ----------
    intake_ppm : float
        Of the air drawn in [ppm].
    """

    __slots__ = ("_left_s", "_ppm", "_rows", "intake_ppm")

    def __init__(self, ppm: float) -> None:
        self._ppm = self.intake_ppm = ppm
        self._rows: StepRows | None = None
        self._left_s = 0.0

    @property
    def ppm(self) -> float:
        """CO2 of the air [ppm]."""
        self._catch_up()
        return self._ppm

    def go_on(self, rows: StepRows, for_s: float) -> None:
        """Add time [s] with fan and lamp as in `rows`; `ppm` steps through it."""
        was = self._rows
        if rows is not was:
            if was is None or (
                rows.changes_s != was.changes_s or rows.exchange is not was.exchange
            ):
                self._catch_up()
            self._rows = rows
        self._left_s += for_s

    def _catch_up(self) -> None:
        """Step exactly, with the uptake linearised about the present concentration."""
        rows = self._rows
        while rows is not None and self._left_s > 0.0:
            co2 = self._ppm
            uptake, per_ppm = rows.exchange.co2_ppm_s(co2)
            changes = rows.changes_s
            rate = changes + per_ppm
            inflow = changes * (self.intake_ppm - co2) - uptake
            dt = self._left_s
            if dt > _STEP_S and abs(inflow) > _NEAR_PPM * rate:
                dt = _STEP_S
            self._left_s -= dt
            self._ppm += inflow * (-expm1(-rate * dt) / rate if rate > 1e-12 else dt)
