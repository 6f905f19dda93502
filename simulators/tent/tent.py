"""The lumped tent: heat, moisture and CO2 of one closed fabric tent, stepped exactly.

The air is one well-mixed node. A second node holds what is slow: pots, wet soil, frame. Between
air and room stands the fabric, whose own heat is too small to matter; its inner surface lies
between the two temperatures, and water condenses on it when it is colder than the dew point.

.. code-block:: text

    Ca dT/dt   = P_lamp (1 − s) + P_fan − λ E − ρ cp Q (T − T_intake) − UA (T − T_room)
                 − K (T − T_c) + α λ J
    Cc dT_c/dt = P_lamp s + K (T − T_c)
    ρV dW/dt   = E − ρ Q (W − W_intake) − J
    E          = A × transpiration of a leaf in balance with light, T and VPD
    J          = k (W − W_s(T_fabric)) while the fabric is wet or gets wet, else 0
    V dc/dt    = Q (c_intake − c) − uptake(light, c) + respiration

Above saturation the surplus falls out as mist and is added to the film. The leaves' own temperature
follows from `controller.plants.leaf_balance`; the light they absorb is part of P_lamp, their heat
too small to matter, and what light they don't spend on vapour they give to the air, so that E is
all the books see of them.

The linear part, with E linearised about 25 °C, is stepped exactly by a matrix exponential, worked
out once per (flow, lamp) pair. What the linearisation leaves over is one number, taken as linear
within the step (exponential time differencing with a second-order Runge–Kutta corrector: Cox &
Matthews, J. Comput. Phys. 176, 2002, eq. 22). The error falls with the square of the step;
tests/simulators/test_tent_accuracy.py shows how large it is.
"""

from __future__ import annotations

from controller import air
from controller.leaf_table import AIR_FROM_C, AIR_STEP_K, VPD_CELLS, VPD_LAST_PA, VPD_STEP_PA
from controller.tent_physics import TentPhysics
from simulators.tent.co2 import TentCO2
from simulators.tent.condensation import mist, step_wet
from simulators.tent.ledger import TentLedger
from simulators.tent.outflow import TentOutflow
from simulators.tent.saturation_table import (
    AT_ZERO,
    FROM_C,
    HOTTEST_C,
    PER_K,
    SLOPE,
    TentTooHotError,
    saturation_pa,
    slope_pa_k,
)
from simulators.tent.step import StepRows, exchange_of, short_steps, step_rows

# `Tent.step` has these numbers written out, since a name costs a look-up each time.
assert (FROM_C, PER_K, HOTTEST_C, air.MASS_RATIO) == (-60.0, 16.0, 140.0, 0.621945)
assert (1.0 / VPD_STEP_PA, VPD_LAST_PA, VPD_CELLS) == (0.03125, 20448.0, 1024)
assert (AIR_FROM_C, AIR_STEP_K) == (-60.0, 1.0)


class Tent:
    """The state of one tent, and the step that carries it on.

    Parameters
    ----------
    physics : TentPhysics
        What the tent is made of.
    air_c : float
        Temperature of air and contents at the start, −60 to 150 [°C].
    humidity_ratio : float
        At the start [kg/kg].
    co2_ppm : float
        At the start [ppm].

    Attributes
    ----------
    air_c, contents_c : float
        Temperatures [°C].
    humidity_ratio : float
        Of the air [kg/kg].
    vapour_pa, saturation_pa : float
        Vapour pressure of the air and its saturation value [Pa].
    co2 : TentCO2
        That of the air, and of the air drawn in.
    film_kg : float
        Water standing on the fabric [kg].
    drained_kg : float
        Water that ran off the fabric since the start [kg].
    outflow : TentOutflow
        What it gives off to the air around it.
    ledger : TentLedger or None
        Kept when set.
    """

    __slots__ = (
        "_now",
        "_pressure_pa",
        "_rows",
        "_tangent_pa_k",
        "air_c",
        "co2",
        "contents_c",
        "drained_kg",
        "film_kg",
        "humidity_ratio",
        "ledger",
        "outflow",
        "physics",
        "saturation_pa",
        "vapour_pa",
    )

    vapour_pa: float
    saturation_pa: float
    _tangent_pa_k: float

    def __init__(
        self,
        physics: TentPhysics,
        air_c: float = 22.0,
        humidity_ratio: float = 0.008,
        co2_ppm: float = 450.0,
    ) -> None:
        self.physics = physics
        self.air_c = self.contents_c = air_c
        self.humidity_ratio = humidity_ratio
        self.co2 = TentCO2(co2_ppm)
        self.film_kg = 0.0
        self.drained_kg = 0.0
        self.outflow = TentOutflow(self)
        self.ledger: TentLedger | None = None
        self._rows: dict[tuple[float, bool, float, float], StepRows] = {}
        self._now: StepRows | None = None
        self._pressure_pa = physics.pressure_pa
        self.settle_vapour()

    @property
    def humidity_pct(self) -> float:
        """Relative humidity of the air [%]."""
        return 100.0 * self.vapour_pa / self.saturation_pa

    def leaf_c(self, lamp_on: bool) -> float:
        """Temperature of the leaves [°C], with the lamp on or off."""
        exchange = exchange_of(self.physics, lamp_on)
        return exchange.leaf_c.at(self.air_c, self.saturation_pa - self.vapour_pa)

    def rows(
        self, flow_m3_s: float, lamp_on: bool, dt_s: float, fan_heat_w: float = 0.0
    ) -> StepRows:
        """Give the exact step for fan, lamp and a length, as in `advance`; worked out once each."""
        key = (flow_m3_s, lamp_on, dt_s, fan_heat_w)
        rows = self._rows.get(key)
        if rows is None:
            rows = self._rows[key] = step_rows(self.physics, *key)
        return rows

    def advance(
        self,
        flow_m3_s: float,
        lamp_on: bool,
        dt_s: float,
        room_c: float,
        intake_c: float,
        intake_ratio: float,
        fan_heat_w: float = 0.0,
    ) -> StepRows:
        """Carry the state on by `dt_s`, in short steps where fan or lamp have just changed.

        Parameters
        ----------
        flow_m3_s : float
            Flow of the fan [m³/s].
        lamp_on : bool
            Whether the lamp is lit.
        dt_s : float
            For how long, > 0 [s]; a minute at most for the accuracy stated above.
        room_c, intake_c, intake_ratio : float
            As for `step`.
        fan_heat_w : float
            Heat that the fan leaves in the tent at this flow [W].

        Returns
        -------
        StepRows
            To be handed to `step` as long as nothing changes; the same as calling this again.
        """
        rows = self._now
        if (
            rows is not None
            and rows.flow_m3_s == flow_m3_s
            and rows.lamp_on is lamp_on
            and rows.dt_s == dt_s
            and rows.fan_heat_w == fan_heat_w
        ):
            self.step(rows, room_c, intake_c, intake_ratio)
            return rows
        parts = short_steps(dt_s)
        short = self.rows(flow_m3_s, lamp_on, dt_s / parts, fan_heat_w)
        for _ in range(parts):
            self.step(short, room_c, intake_c, intake_ratio)
        self._now = rows = self.rows(flow_m3_s, lamp_on, dt_s, fan_heat_w)
        return rows

    def step(self, rows: StepRows, room_c: float, intake_c: float, intake_ratio: float) -> None:
        """Carry the state on by one step.

        Parameters
        ----------
        rows : StepRows
            From `rows`: the fan flow, the lamp and the length of the step.
        room_c, intake_c : float
            Temperature around the tent and of the air drawn in, in the middle of the step [°C].
        intake_ratio : float
            Humidity ratio of the air drawn in [kg/kg].

        Raises
        ------
        TentTooHotError
            The air gets hotter than any tent can.
        """
        (
            tt, tc, tw, te, th, ti, t1, td,
            ct, cc, cw, ce, ch, ci, c1, cd,
            wt, wc, ww, we, wh, wi, w1, wd,
            waters, by_k, by_ratio, gap, room_w_k, intake_w_k,
        ) = rows.dry  # fmt: skip
        outflow = self.outflow
        if outflow.rows is not rows:
            outflow.begin(rows)
        air_c, pots_c, ratio = self.air_c, self.contents_c, self.humidity_ratio
        saturation, vapour = self.saturation_pa, self.vapour_pa
        # Saturation pressure is convex in temperature, so its tangent at the air's is a lower bound
        # for the fabric's: that settles nearly every case.
        if self.film_kg > 0.0 or (
            vapour > saturation - self._tangent_pa_k * gap * (air_c - room_c)
            and vapour > air.saturation_vapour_pressure_pa(air_c - gap * (air_c - room_c))
        ):
            step_wet(self, rows, room_c, intake_c, intake_ratio)
            return
        heat = room_w_k * room_c + intake_w_k * intake_c
        at_zero, slopes, pressure = AT_ZERO, SLOPE, self._pressure_pa
        vpd = saturation - vapour
        if not 0.0 <= vpd < 20448.0:
            vpd = 0.0 if vpd < 0.0 else 20447.0
        a, b, c, d = waters[int(air_c + 60.0) * 1024 + int(vpd * 0.03125)]
        water = a + b * vpd + (c + d * vpd) * air_c
        new_c = tt * air_c + tc * pots_c + tw * ratio + te * water
        new_c += th * heat + ti * intake_ratio + t1
        if new_c > 140.0:
            raise TentTooHotError
        new_ratio = wt * air_c + wc * pots_c + ww * ratio + we * water
        new_ratio += wh * heat + wi * intake_ratio + w1
        i = int((new_c + 60.0) * 16.0)
        vpd = at_zero[i] + new_c * slopes[i] - new_ratio * pressure / (0.621945 + new_ratio)
        # A step does not lead far, so the cell it starts from will do.
        change = (
            a + b * vpd + (c + d * vpd) * new_c - water
            - by_k * (new_c - air_c) + by_ratio * (new_ratio - ratio)
        )  # fmt: skip
        new_pots_c = ct * air_c + cc * pots_c + cw * ratio + ce * water + cd * change
        new_pots_c += ch * heat + ci * intake_ratio + c1
        new_c += td * change
        new_ratio += wd * change
        rest = water - by_k * air_c + by_ratio * ratio
        outflow.steps += 1
        outflow.around_w += heat
        outflow.around_ratio += intake_ratio
        outflow.left_over_kg_s += rest + 0.5 * change
        if self.ledger is not None:
            state, outside = (air_c, pots_c, ratio), (room_c, intake_c, intake_ratio)
            self.ledger.enter(rows, False, state, outside, (rest, change, 0.0, 0.0))
        self.air_c, self.contents_c, self.humidity_ratio = new_c, new_pots_c, new_ratio
        i = int((new_c + 60.0) * 16.0)
        self._tangent_pa_k = tangent = slopes[i]
        self.saturation_pa = saturation = at_zero[i] + new_c * tangent
        self.vapour_pa = vapour = new_ratio * pressure / (0.621945 + new_ratio)
        if vapour > saturation:
            mist(self)

    @property
    def co2_ppm(self) -> float:
        """CO2 of the air [ppm]."""
        self.outflow.sum_up()
        return self.co2.ppm

    def settle_vapour(self) -> None:
        """Work out what the step keeps beside temperature and humidity ratio."""
        self.saturation_pa = saturation_pa(self.air_c)
        self._tangent_pa_k = slope_pa_k(self.air_c)
        ratio = self.humidity_ratio
        self.vapour_pa = ratio * self._pressure_pa / (air.MASS_RATIO + ratio)
