"""The lumped tent: heat, moisture and CO2 of one closed fabric tent, stepped exactly.

The air is one well-mixed node. A second node holds what is slow: pots, wet soil, frame. Between
air and room stands the fabric, whose own heat is too small to matter; its inner surface lies
between the two temperatures, and water condenses on it when it is colder than the dew point.

.. code-block:: text

    Ca dT/dt   = P_lamp (1 − s) + P_fan − λ E − ρ cp Q (T − T_intake) − UA (T − T_room)
                 − K (T − T_c) + α λ J
    Cc dT_c/dt = P_lamp s + K (T − T_c)
    ρV dW/dt   = E − ρ Q (W − W_intake) − J
    E          = g(light, VPD) A (e_s(T) − e)/p · 0.018015
    J          = k (W − W_s(T_fabric)) while the fabric is wet or gets wet, else 0
    V dc/dt    = Q (c_intake − c) − uptake(light, c) + respiration

Above saturation the surplus falls out as mist and is added to the film. Leaves are taken to be as
warm as the air. Plants close their pores in the dark, so g is small
then; with a daytime g all night, evaporation would cool a dark tent well below its room.

The linear part, with E linearised about 25 °C, is stepped exactly by a matrix exponential, worked
out once per (flow, lamp) pair. What the linearisation leaves over is one number, taken as linear
within the step (exponential time differencing with a second-order Runge–Kutta corrector: Cox &
Matthews, J. Comput. Phys. 176, 2002, eq. 22). The error falls with the square of the step;
tests/simulators/test_tent_accuracy.py shows how large it is.
"""

from __future__ import annotations

from math import ceil, expm1

from controller import air
from simulators.saturation_table import (
    FROM_C,
    PER_K,
    SATURATION,
    SLOPE,
    saturation_pa,
    slope_pa_k,
)
from simulators.tent_ledger import TentLedger
from simulators.tent_physics import LATENT_J_PER_KG, TentPhysics
from simulators.tent_step import (
    VPD_POINTS,
    VPD_STEP_PA,
    Exchange,
    Row,
    StepRows,
    linearisation,
)

# A switched fan or lamp moves moisture within seconds: no longer steps than this right after.
_SHORT_S = 15.0
_CO2_STEP_S = 300.0

# `Tent.step` has these numbers written out, since a name costs a look-up each time.
assert (FROM_C, PER_K, air.MASS_RATIO) == (-60.0, 16.0, 0.621945)
assert (1.0 / VPD_STEP_PA, VPD_POINTS - 1) == (0.03125, 639)


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
    co2_ppm, intake_co2_ppm : float
        CO2 of the air, and of the air drawn in [ppm].
    film_kg : float
        Water standing on the fabric [kg].
    drained_kg : float
        Water that ran off the fabric since the start [kg].
    ledger : TentLedger or None
        Kept when set.
    """

    __slots__ = (
        "_co2_left_s",
        "_co2_ppm",
        "_co2_rows",
        "_exchange",
        "_now",
        "_per_k_pa",
        "_per_ratio_pa",
        "_pressure_pa",
        "_rows",
        "_tangent_pa_k",
        "air_c",
        "contents_c",
        "drained_kg",
        "film_kg",
        "humidity_ratio",
        "intake_co2_ppm",
        "ledger",
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
        self._co2_ppm = self.intake_co2_ppm = co2_ppm
        self._co2_rows: StepRows | None = None
        self._co2_left_s = 0.0
        self.film_kg = 0.0
        self.drained_kg = 0.0
        self.ledger: TentLedger | None = None
        self._rows: dict[tuple[float, bool, float], StepRows] = {}
        self._exchange: dict[bool, Exchange] = {}
        self._now: StepRows | None = None
        self._pressure_pa = physics.pressure_pa
        self._per_k_pa, self._per_ratio_pa = linearisation(physics.pressure_pa)
        self._settle_vapour()

    @property
    def humidity_pct(self) -> float:
        """Relative humidity of the air [%]."""
        return 100.0 * self.vapour_pa / self.saturation_pa

    @property
    def fabric_is_wet(self) -> bool:
        """Whether water stands on the fabric."""
        return self.film_kg > 0.0

    def rows(self, flow_m3_s: float, lamp_on: bool, dt_s: float) -> StepRows:
        """Give the exact step for a fan flow, a lamp state and a length; worked out once each."""
        key = (flow_m3_s, lamp_on, dt_s)
        rows = self._rows.get(key)
        if rows is None:
            exchange = self._exchange.get(lamp_on)
            if exchange is None:
                exchange = self._exchange[lamp_on] = Exchange(self.physics, lamp_on)
            rows = StepRows(self.physics, exchange, flow_m3_s, lamp_on, dt_s)
            self._rows[key] = rows
        return rows

    def advance(
        self,
        flow_m3_s: float,
        lamp_on: bool,
        dt_s: float,
        room_c: float,
        intake_c: float,
        intake_ratio: float,
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
        ):
            self.step(rows, room_c, intake_c, intake_ratio)
            return rows
        parts = ceil(dt_s / _SHORT_S)
        short = self.rows(flow_m3_s, lamp_on, dt_s / parts)
        for _ in range(parts):
            self.step(short, room_c, intake_c, intake_ratio)
        self._now = rows = self.rows(flow_m3_s, lamp_on, dt_s)
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
        """
        (
            tt, tc, tw, th, ti, t1, tr, td,
            ct, cc, cw, ch, ci, c1, cr, cd,
            wt, wc, ww, wh, wi, w1, wr, wd,
            water, water_steps, by_k, by_ratio, ua, rcq, gap, dt,
        ) = rows.dry  # fmt: skip
        air_c = self.air_c
        # Saturation pressure is convex in temperature, so its tangent at the air's is a lower
        # bound for the fabric's: that settles nearly every case.
        if self.film_kg > 0.0 or (
            self.vapour_pa > self.saturation_pa - self._tangent_pa_k * gap * (air_c - room_c)
            and self.vapour_pa > air.saturation_vapour_pressure_pa(air_c - gap * (air_c - room_c))
        ):
            self._step_wet(rows, room_c, intake_c, intake_ratio)
        else:
            pots_c, ratio, pressure = self.contents_c, self.humidity_ratio, self._pressure_pa
            heat = ua * room_c + rcq * intake_c
            x = (self.saturation_pa - self.vapour_pa) * 0.03125
            if not 0.0 <= x < 639.0:
                x = 0.0 if x < 0.0 else 638.0
            i = int(x)
            rest = water[i] + (x - i) * water_steps[i] - by_k * air_c + by_ratio * ratio
            new_c = (
                tt * air_c + tc * pots_c + tw * ratio + th * heat + ti * intake_ratio + t1
                + tr * rest
            )  # fmt: skip
            new_ratio = (
                wt * air_c + wc * pots_c + ww * ratio + wh * heat + wi * intake_ratio + w1
                + wr * rest
            )  # fmt: skip
            x = (new_c + 60.0) * 16.0
            i = int(x)
            x = (
                SATURATION[i] + (x - i) * SLOPE[i] - new_ratio * pressure / (0.621945 + new_ratio)
            ) * 0.03125
            if not 0.0 <= x < 639.0:
                x = 0.0 if x < 0.0 else 638.0
            i = int(x)
            change = (
                water[i] + (x - i) * water_steps[i] - by_k * new_c + by_ratio * new_ratio - rest
            )
            new_c += td * change
            new_ratio += wd * change
            self.contents_c = (
                ct * air_c + cc * pots_c + cw * ratio + ch * heat + ci * intake_ratio + c1
                + cr * rest + cd * change
            )  # fmt: skip
            if self.ledger is not None:
                state, forcing = (air_c, pots_c, ratio), (rest, change, 0.0, 0.0)
                self._book(rows, False, state, room_c, intake_c, intake_ratio, forcing)
            self.air_c = new_c
            self.humidity_ratio = new_ratio
            x = (new_c + 60.0) * 16.0
            i = int(x)
            slope = SLOPE[i]
            self.saturation_pa = saturation = SATURATION[i] + (x - i) * slope
            self.vapour_pa = vapour = new_ratio * pressure / (0.621945 + new_ratio)
            self._tangent_pa_k = slope * 16.0
            if vapour > saturation:
                self._mist()
        # CO2 acts on nothing else: it follows later, all at once.
        if rows is not self._co2_rows:
            self._catch_up_co2()
            self._co2_rows = rows
        self._co2_left_s += dt

    @property
    def co2_ppm(self) -> float:
        """CO2 of the air [ppm]."""
        self._catch_up_co2()
        return self._co2_ppm

    def _catch_up_co2(self) -> None:
        """Step CO2 exactly, with the uptake linearised about the present concentration."""
        rows = self._co2_rows
        while rows is not None and self._co2_left_s > 0.0:
            dt = min(self._co2_left_s, _CO2_STEP_S)
            self._co2_left_s -= dt
            co2 = self._co2_ppm
            uptake, per_ppm = rows.exchange.co2_ppm_s(co2)
            changes = rows.changes_s
            rate = changes + per_ppm
            inflow = changes * (self.intake_co2_ppm - co2) - uptake
            self._co2_ppm += inflow * (-expm1(-rate * dt) / rate if rate > 1e-12 else dt)

    def given_off(self, flow_m3_s: float, room_c: float, room_ratio: float) -> tuple[float, float]:
        """Heat [W] and water [kg/s] that leave for the room now, through the walls and as air."""
        p = self.physics
        total = flow_m3_s + p.infiltration_m3_s
        heat = (p.wall_w_per_k + p.heat_capacity_j_m3_k * total) * (self.air_c - room_c)
        return heat, p.density_kg_m3 * total * (self.humidity_ratio - room_ratio)

    def _step_wet(
        self, rows: StepRows, room_c: float, intake_c: float, intake_ratio: float
    ) -> None:
        """Like the dry step, with water going to and from the fabric as well."""
        p = self.physics
        wet = rows.wet_rows
        state = (self.air_c, self.contents_c, self.humidity_ratio)
        outside = (self._heat_w(rows, room_c, intake_c), intake_ratio)
        rest = self._rest_kg_s(rows, self.air_c, self.humidity_ratio)
        film = p.film_kg_s * self._fabric_ratio(self.air_c, room_c)
        flat = (rest, 0.0, film, 0.0)
        new_c = _value(wet.air, state, outside, flat)
        new_ratio = _value(wet.ratio, state, outside, flat)
        forcing = (
            rest,
            self._rest_kg_s(rows, new_c, new_ratio) - rest,
            film,
            p.film_kg_s * self._fabric_ratio(new_c, room_c) - film,
        )
        self.air_c = _value(wet.air, state, outside, forcing)
        self.contents_c = _value(wet.contents, state, outside, forcing)
        self.humidity_ratio = _value(wet.ratio, state, outside, forcing)
        condensed = (
            p.film_kg_s * _value(wet.ratio_integral, state, outside, forcing)
            - (film + 0.5 * forcing[3]) * rows.dt_s
        )
        if self.ledger is not None:
            self._book(rows, True, state, room_c, intake_c, intake_ratio, forcing)
        self.film_kg += condensed
        if self.film_kg < 0.0:  # dried up on the way: give back what wasn't there
            self._condense(-self.film_kg, p.fabric_inside_share)
        if self.film_kg > p.film_limit_kg:
            self.drained_kg += self.film_kg - p.film_limit_kg
            self.film_kg = p.film_limit_kg
        self._settle_vapour()
        if self.vapour_pa > self.saturation_pa:
            self._mist()

    def _mist(self) -> None:
        """Let air above saturation lose the surplus as droplets that settle on the contents."""
        p = self.physics
        mass = p.density_kg_m3 * p.volume_m3
        for _ in range(3):
            ratio = _ratio(self.saturation_pa, p.pressure_pa)
            surplus = mass * (self.humidity_ratio - ratio)
            by_k = self._tangent_pa_k / self._per_ratio_pa  # of the ratio, near enough
            surplus /= 1.0 + LATENT_J_PER_KG * mass * by_k / p.air_capacity_j_k
            self._condense(surplus, 1.0)
            self._settle_vapour()

    def _condense(self, kg: float, share: float) -> None:
        """Turn vapour into film; `share` of the heat stays inside."""
        p = self.physics
        heat = share * LATENT_J_PER_KG * kg
        self.film_kg += kg
        self.humidity_ratio -= kg / (p.density_kg_m3 * p.volume_m3)
        self.air_c += heat / p.air_capacity_j_k
        if self.ledger is not None:
            self.ledger.condensed_kg += kg
            self.ledger.condensation_j += heat

    def _heat_w(self, rows: StepRows, room_c: float, intake_c: float) -> float:
        total = rows.flow_m3_s + self.physics.infiltration_m3_s
        return (
            self.physics.wall_w_per_k * room_c
            + self.physics.heat_capacity_j_m3_k * total * intake_c
        )

    def _fabric_ratio(self, air_c: float, room_c: float) -> float:
        """Humidity ratio of saturated air at the fabric's inner surface."""
        fabric_c = air_c - (1.0 - self.physics.fabric_inside_share) * (air_c - room_c)
        return _ratio(air.saturation_vapour_pressure_pa(fabric_c), self._pressure_pa)

    def _rest_kg_s(self, rows: StepRows, air_c: float, ratio: float) -> float:
        """What the linearisation leaves of the transpiration [kg/s]."""
        vapour = ratio * self._pressure_pa / (air.MASS_RATIO + ratio)
        water = rows.exchange.transpiration_kg_s(saturation_pa(air_c) - vapour)
        kappa = rows.exchange.per_vpd_kg_s_pa
        return water - kappa * (self._per_k_pa * air_c - self._per_ratio_pa * ratio)

    def _settle_vapour(self) -> None:
        """Work out what the step keeps beside temperature and humidity ratio."""
        self.saturation_pa = saturation_pa(self.air_c)
        self._tangent_pa_k = slope_pa_k(self.air_c)
        ratio = self.humidity_ratio
        self.vapour_pa = ratio * self._pressure_pa / (air.MASS_RATIO + ratio)

    def _book(
        self,
        rows: StepRows,
        wet: bool,
        state: tuple[float, float, float],
        room_c: float,
        intake_c: float,
        intake_ratio: float,
        forcing: tuple[float, float, float, float],
    ) -> None:
        """Enter one step into the ledger, from the integrals of the exact solution."""
        ledger, p, dt = self.ledger, self.physics, rows.dt_s
        if ledger is None:
            return
        table = rows.wet_rows if wet else rows.dry_rows
        outside = (self._heat_w(rows, room_c, intake_c), intake_ratio)
        air_ks = _value(table.air_integral, state, outside, forcing)
        ratio_s = _value(table.ratio_integral, state, outside, forcing)
        total = rows.flow_m3_s + p.infiltration_m3_s
        rest, rest_change, film, film_change = forcing
        kappa = rows.exchange.per_vpd_kg_s_pa
        evaporated = (
            kappa * (self._per_k_pa * air_ks - self._per_ratio_pa * ratio_s)
            + (rest + 0.5 * rest_change) * dt
        )
        condensed = p.film_kg_s * ratio_s - (film + 0.5 * film_change) * dt if wet else 0.0
        ledger.lamp_j += dt * (
            (p.lamp_heat_w if rows.lamp_on else 0.0)
            + (p.fan_heat_w if rows.flow_m3_s > 0.0 else 0.0)
        )
        ledger.wall_j += p.wall_w_per_k * (air_ks - room_c * dt)
        ledger.air_j += p.heat_capacity_j_m3_k * total * (air_ks - intake_c * dt)
        ledger.evaporation_j += LATENT_J_PER_KG * evaporated
        ledger.condensation_j += p.fabric_inside_share * LATENT_J_PER_KG * condensed
        ledger.transpired_kg += evaporated
        ledger.carried_out_kg += p.density_kg_m3 * total * (ratio_s - intake_ratio * dt)
        ledger.condensed_kg += condensed


def _value(
    row: Row,
    state: tuple[float, float, float],
    outside: tuple[float, float],
    forcing: tuple[float, float, float, float],
) -> float:
    """One state, or its integral, after a step."""
    return (
        row[0] * state[0]
        + row[1] * state[1]
        + row[2] * state[2]
        + row[3] * outside[0]
        + row[4] * outside[1]
        + row[5]
        + row[6] * forcing[0]
        + row[7] * forcing[1]
        + row[8] * forcing[2]
        + row[9] * forcing[3]
    )


def _ratio(vapour_pa: float, pressure_pa: float) -> float:
    return air.MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)
