"""Half an hour ahead at one fan speed after another: what the modulating law compares. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import air
from controller.control.forecast import Drive, MoistAir, Outlook, forecast, leaves_at

if TYPE_CHECKING:
    from controller.control.modulation import Modulation
    from controller.control.thresholds import Limits
    from controller.control.types import Reading


class Lookahead:
    """Looks half an hour ahead at one speed after another; each is worked out once.

    Attributes
    ----------
    tent, intake : Reading
        The readings that it starts from.
    lit : bool
        Whether the lamp is lit.
    limits : Limits
        The bands of the phase.
    counts_dew_point : bool
        Whether what a surface lacks of its distance from the dew point counts, as kelvins do.
    """

    def __init__(
        self,
        law: Modulation,
        tent: Reading,
        intake: Reading,
        lit: bool,
        limits: Limits,
        contents_c: float,
        *,
        counts_dew_point: bool = False,
    ) -> None:
        self.tent, self.intake, self.limits = tent, intake, limits
        self.lit, self.counts_dew_point = lit, counts_dew_point
        self._law, self._contents_c = law, contents_c
        pressure_pa = law.tent.pressure_pa
        self._inside, self._drawn_in = (
            _moist_air(reading, pressure_pa) for reading in (tent, intake)
        )
        self._leaves = leaves_at(law.tent, lit, *self._inside)
        self._known: dict[float, Outlook] = {}
        self._more_heat_w = 0.0

    def assume_unknown_heat(self, running: Drive) -> None:
        """Take heat for granted that the tent must have, being as warm as it is at a speed.

        Where it is warmer than forecast by more than the sensors may err: a lamp stronger, a filter
        fuller or leaves drier than the config says, not two sensors that disagree.
        """
        doubt_k = self._law.doubt_k
        if self._inside.air_c - self._drawn_in.air_c <= doubt_k:
            return
        forecast_c = self.outlook(running).air_c
        over_k = self._inside.air_c - forecast_c
        if over_k > doubt_k:
            # The forecast is a straight line in it, up to the hottest that it tells apart.
            self._known.clear()
            self._more_heat_w = 1.0
            per_w_k = self.outlook(running).air_c - forecast_c
            self._more_heat_w = over_k / per_w_k if per_w_k > 0.0 else 0.0
            self._known.clear()

    def outlook(self, drive: Drive) -> Outlook:
        """What the speed brings."""
        known = self._known.get(drive.speed)
        if known is None:
            known = self._known[drive.speed] = forecast(
                self._law.tent,
                self._leaves,
                drive,
                self._inside,
                self._drawn_in,
                self.lit,
                self._contents_c,
                self._more_heat_w,
            )
        return known

    def harm_w(self, drive: Drive) -> float:
        """What straying is worth [W]."""
        outlook, worth = self.outlook(drive), self._law.worth
        harm_w = outlook.harm_w(self.limits, worth)
        if self.counts_dew_point:
            distance_k = outlook.dew_distance_k(self._drawn_in.air_c)
            harm_w += worth.w_per_k * max(0.0, self.limits.dew_margin_k - distance_k)
        return harm_w

    def cost_w(self, drive: Drive) -> float:
        """What straying is worth, and the power, together [W]."""
        return self.harm_w(drive) + drive.power_w


def _moist_air(reading: Reading, pressure_pa: float) -> MoistAir:
    air_c = reading.temperature_c
    vapour_pa = 0.01 * reading.humidity_pct * air.saturation_vapour_pressure_pa(air_c)
    return MoistAir(air_c, air.MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa))
