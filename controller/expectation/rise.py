"""How far a tent settles above its intake air, with the doubt of all that goes into it. Pure, SI.

Lamp power against air flow, walls and evaporation, as in `controller.sizing`. The hottest
case counts on no evaporation at all: seedlings hardly evaporate, and plants that wilt stop. Taken
for granted: the room around the tent is as warm as the intake air, the lamp draws what the config
says, and no other heater or cooler stands in the tent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

from controller import air, envelope
from controller.air.constants import DRY_AIR_J_PER_KG_K, LATENT_J_PER_KG, VAPOUR_J_PER_KG_K
from controller.airflow.span import OPPOSITE, Case, Span
from controller.sizing.plan import LEAF_AREA_SPREAD
from controller.sizing.steady import Conditions, settle
from controller.tent_physics import (
    CONTENTS_W_PER_K_M2,
    LAMP_TO_CONTENTS,
    fabric_film_kg_s,
    fabric_film_limit_kg,
)

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.sizing.assess import Sizing
    from controller.sizing.plan import Plan

UNMIXED = 0.25
"""Share by which the canopy may be further above the intake, or less far, than the air that leaves
(engineering judgement, no source: air under a lamp is not well mixed)."""

# States are told apart in these steps: far finer than the doubt, and a day has a few dozen.
_SPEED_STEPS = 20
_INTAKE_STEP_K = 4.0
_HUMIDITY_STEP_PCT = 20.0
# Outside of this the air functions and the sensors have little to say.
_COLDEST_C, _HOTTEST_C = -20.0, 50.0


class Air(NamedTuple):
    """Temperature [°C] and relative humidity [%] of some air."""

    temperature_c: float
    humidity_pct: float


class Figure(NamedTuple):
    """A best estimate and how far it may be off to either side."""

    best: float
    doubt: float


class SteadyRise(NamedTuple):
    """A tent that no longer changes, sensors and what is stored left aside.

    Doubts that have nothing to do with each other are combined as the root of their squares, as
    the Guide to the expression of uncertainty in measurement does (JCGM 100:2008, 5.1.2).

    Attributes
    ----------
    best_k : float
        Likeliest rise over the intake air [K].
    planted_doubt_k : float
        How far below it the rise may be: more leaves, air and walls than likely [K].
    planted_gain : float
        By how much more leaves than likely raise the intake's humidity ratio [kg/kg].
    dry_k : float
        Rise if nothing evaporates [K].
    dry_doubt_k : float
        How far above it the rise may be: less air and walls than likely [K].
    dry_air_kg_s : Span
        Dry air through the tent [kg/s].
    wall_w_per_k : Span
        What the walls let through [W/K].
    air_j_per_kg_k : float
        Heat capacity of the intake air, per kilogram of dry air [J/(kg K)].
    """

    best_k: float
    planted_doubt_k: float
    planted_gain: float
    dry_k: float
    dry_doubt_k: float
    dry_air_kg_s: Span
    wall_w_per_k: Span
    air_j_per_kg_k: float

    @property
    def w_per_k(self) -> float:
        """What a kelvin of rise carries off [W/K], > 0."""
        return self.dry_air_kg_s.best * self.air_j_per_kg_k + self.wall_w_per_k.best

    def balanced_k(
        self, heat_w: float, gain: float, air: Case = "best", walls: Case = "best"
    ) -> float:
        """The rise at which heat and moisture given off are carried off [K].

        Parameters
        ----------
        heat_w : float
            Heat set free in the tent [W].
        gain : float
            By how much the tent's humidity ratio is above the intake's [kg/kg]: water that
            evaporated takes its heat out of the tent, whatever the plants do, and leaves with the
            same air. So far a heat balance needs no model of a plant.
        """
        dry_kg_s = self.dry_air_kg_s.at(air)
        carried = dry_kg_s * self.air_j_per_kg_k + self.wall_w_per_k.at(walls)
        return (heat_w - LATENT_J_PER_KG * dry_kg_s * gain) / carried


@dataclass(frozen=True)
class ExpectedRise:
    """What one config lets expect.

    Attributes
    ----------
    plan : Plan
        The tent, without its intake air.
    accuracy_k, accuracy_pct : float
        Errors that the data sheets of tent's and intake's sensor admit, together [K], [%].
    reads_to_c : float
        Up to where the tent's sensors tell how hot it is [°C].
    """

    plan: Plan
    accuracy_k: float
    accuracy_pct: float
    reads_to_c: float = math.inf
    _known: dict[tuple[int, bool, int, int], SteadyRise | None] = field(
        default_factory=dict, repr=False, compare=False
    )

    @classmethod
    def from_settings(cls, settings: Settings) -> ExpectedRise | None:
        """Take a config; None where it has no fan figures, no lamp power or no intake sensor."""
        from controller.sensors.data_sheets import profile_of, tent_reads_to_c
        from controller.sizing.plan import Plan

        profiles = {
            role: [profile_of(sensor) for sensor in settings.sensors if sensor.role == role]
            for role in ("tent", "intake")
        }
        try:
            plan = Plan.from_settings(settings)
        except ValueError:
            return None
        if not all(profiles.values()) or not plan.rig.has_fan or plan.lamp_power_w <= 0.0:
            return None
        return cls(
            plan,
            math.hypot(*(max(p.accuracy_k for p in role) for role in profiles.values())),
            math.hypot(*(max(p.accuracy_pct for p in role) for role in profiles.values())),
            tent_reads_to_c(settings),
        )

    @property
    def contents_w_per_k(self) -> float:
        """Heat that the contents exchange with the air [W/K]."""
        return CONTENTS_W_PER_K_M2 * self.plan.floor_m2

    @property
    def lamp_stored_w(self) -> float:
        """What of the lamp's heat comes hours later [W]."""
        return LAMP_TO_CONTENTS * self.plan.lamp_power_w

    @property
    def wall_m2(self) -> float:
        """Fabric that water may stand on [m²]."""
        return envelope.wall_area_m2(self.plan.width_m, self.plan.depth_m, self.plan.height_m)

    @property
    def film_kg_s(self) -> float:
        """Water to the fabric for each kg/kg above its saturation [kg/s]."""
        return fabric_film_kg_s(self.wall_m2)

    @property
    def film_limit_kg(self) -> float:
        """What clings to the fabric before it runs off [kg]."""
        return fabric_film_limit_kg(self.wall_m2)

    def steady(
        self, speed: float, lit: bool, intake_c: float, intake_pct: float
    ) -> SteadyRise | None:
        """Where the rise settles; None where the air functions or the fan's figures end.

        Parameters
        ----------
        speed : float
            Commanded speed, or its mean over some minutes, 0–1.
        lit : bool
            Whether the lamp is lit.
        intake_c, intake_pct : float
            The intake air [°C], [%].
        """
        if not (_COLDEST_C <= intake_c <= _HOTTEST_C and 0.0 <= speed <= 1.0):
            return None
        key = (
            round(speed * _SPEED_STEPS),
            lit,
            round(intake_c / _INTAKE_STEP_K),
            round(intake_pct / _HUMIDITY_STEP_PCT),
        )
        if key not in self._known:
            self._known[key] = self._solve(
                key[0] / _SPEED_STEPS,
                lit,
                key[2] * _INTAKE_STEP_K,
                min(95.0, max(5.0, key[3] * _HUMIDITY_STEP_PCT)),
            )
        return self._known[key]

    def needed_flow_m3_s(self, intake_c: float, limit_c: float) -> tuple[float, float]:
        """Flow that holds a lit tent at a limit [m³/s]: likely, and if nothing evaporates.

        Infinite where no flow does.
        """
        from controller.airflow.roots import falling_root
        from controller.sizing.demand import day_terms
        from controller.sizing.needs import heat_flow_m3_s

        bounds = (min(self.plan.day_c[0], limit_c), limit_c)
        plan = replace(self.plan, intake_c=intake_c, day_c=bounds)
        terms = day_terms(plan)
        dry = heat_flow_m3_s(
            terms.heat_w, terms.rise_k, terms.capacity_j_per_m3_k, terms.wall_ua_w_per_k
        )
        if not math.isfinite(dry) or dry <= 0.0:
            return dry, dry
        sizing = self._sizing(intake_c, self.plan.intake_rh_pct.best)

        def too_hot_k(flow_m3_s: float) -> float:
            return settle(sizing.balance(flow_m3_s, 1.0, True, "best")).temperature_c - limit_c

        try:
            return falling_root(too_hot_k, 0.01 * dry, 1.5 * dry, 1e-4 * dry), dry
        except ValueError:  # beyond what the air functions know
            return dry, dry

    def delivered_m3_s(self) -> float:
        """Flow that the fan is likely to deliver at full speed [m³/s]."""
        return self._sizing(20.0, 50.0).point(1.0).flow_m3_s

    def _sizing(self, intake_c: float, intake_pct: float) -> Sizing:
        from controller.sizing.assess import Sizing

        return Sizing(replace(self.plan, intake_c=intake_c, intake_humidity_pct=intake_pct))

    def _solve(
        self, speed: float, lit: bool, intake_c: float, intake_pct: float
    ) -> SteadyRise | None:
        sizing = self._sizing(intake_c, intake_pct)
        flow = sizing.flow_span(speed)
        likely = sizing.balance(flow.best, speed, lit, "best")
        cool = sizing.balance(flow.high, speed, lit, "low")
        hot = sizing.balance(flow.low, speed, lit, "high")
        # Leaves grow between two edits of a config.
        leaves_m2 = max(cool.leaf_area_m2, LEAF_AREA_SPREAD[1] * likely.leaf_area_m2)
        bare = likely._replace(leaf_area_m2=0.0)

        def rise_k(acting: Conditions) -> float:
            return settle(acting).temperature_c - intake_c

        try:
            best_k, dry_k = rise_k(likely), rise_k(bare)
            leafy = likely._replace(leaf_area_m2=leaves_m2, leaf_ppfd=cool.leaf_ppfd)
            cooler = (
                leafy,
                likely._replace(flow_m3_s=cool.flow_m3_s),
                likely._replace(wall_ua_w_per_k=cool.wall_ua_w_per_k),
            )
            hotter = (
                bare._replace(flow_m3_s=hot.flow_m3_s),
                bare._replace(wall_ua_w_per_k=hot.wall_ua_w_per_k),
                bare._replace(heat_w=hot.heat_w),
            )
            below = math.hypot(*(max(0.0, best_k - rise_k(acting)) for acting in cooler))
            above = math.hypot(*(max(0.0, rise_k(acting) - dry_k) for acting in hotter))
            ratio = air.humidity_ratio(intake_c, intake_pct, self.plan.pressure_pa)
            volume = air.specific_volume_m3_per_kg(intake_c + dry_k, ratio, self.plan.pressure_pa)
        except ValueError:  # beyond what the air functions know
            return None
        return SteadyRise(
            best_k=best_k,
            planted_doubt_k=below,
            planted_gain=settle(leafy).humidity_ratio - ratio,
            dry_k=dry_k,
            dry_doubt_k=above,
            dry_air_kg_s=Span(
                hot.flow_m3_s / volume, likely.flow_m3_s / volume, cool.flow_m3_s / volume
            ),
            wall_w_per_k=self.plan.wall_ua,
            air_j_per_kg_k=DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * ratio,
        )

    def limits_k(
        self,
        steady: tuple[SteadyRise, SteadyRise, SteadyRise],
        lit: bool,
        stored_w: Figure,
        gain: Figure,
        drying_w: float = 0.0,
    ) -> Span:
        """Rise to be expected at least, likely and at most, as the sensors would show it [K].

        From what plants are known to do, and from the moisture that was measured: whichever tells
        more, on either side.

        Parameters
        ----------
        steady : tuple of SteadyRise
            At the highest speed that the present air may be of, at the mean one, at the lowest.
        lit : bool
            Whether the lamp is lit.
        stored_w : Figure
            Heat that comes out of the contents; negative where it goes in [W].
        gain : Figure
            By how much the tent's humidity ratio is above the intake's [kg/kg].
        drying_w : float
            Heat that the room gives to dry wet fabric, to within its half; negative where water
            condenses on it: so much it takes out of the tent beside what leaves with the air [W].
        """
        cool, likely, hot = steady
        heat_w = (self.plan.lamp_power_w if lit else 0.0) + stored_w.best

        def by_plants_k(steady: SteadyRise, rise_k: float, doubt_k: float) -> Figure:
            best_k = rise_k + stored_w.best / steady.w_per_k
            kept_k = stored_w.doubt / steady.w_per_k
            return Figure(best_k, math.hypot(kept_k, self.accuracy_k, UNMIXED * best_k, doubt_k))

        def by_moisture_k(
            steady: SteadyRise, sign: float, other: Case, heat_w: float, heat_doubt_w: float
        ) -> Figure:
            best_k = steady.balanced_k(heat_w, gain.best)
            per_ratio = LATENT_J_PER_KG * steady.dry_air_kg_s.best / steady.w_per_k
            flow_k = sign * (steady.balanced_k(heat_w, gain.best, air=other) - best_k)
            # A tent that mist has made colder than its room is warmed through its walls.
            walls = other if best_k > 0.0 else OPPOSITE[other]
            wall_k = sign * (steady.balanced_k(heat_w, gain.best, walls=walls) - best_k)
            return Figure(
                best_k,
                math.hypot(
                    heat_doubt_w / steady.w_per_k,
                    self.accuracy_k,
                    UNMIXED * best_k,
                    UNMIXED * gain.best * per_ratio,
                    gain.doubt * per_ratio,
                    max(0.0, flow_k),
                    max(0.0, wall_k),
                ),
            )

        # Moisture that no plants give off, as a cold mist's, was evaporated by the air's heat.
        misted = max(0.0, gain.best - cool.planted_gain)
        misted_w = LATENT_J_PER_KG * cool.dry_air_kg_s.best * misted
        cooled_k = cool.best_k - misted_w / cool.w_per_k
        planted = by_plants_k(cool, cooled_k, cool.planted_doubt_k)
        dry = by_plants_k(hot, hot.dry_k, hot.dry_doubt_k)
        wetting_w, drying_w = min(0.0, drying_w), max(0.0, drying_w)
        wet_doubt_w = math.hypot(stored_w.doubt, 0.5 * wetting_w)
        wetter = by_moisture_k(cool, -1.0, "high", heat_w + wetting_w, wet_doubt_w)
        # Fabric may be wet, which lets the tent be warmer, or no longer be so.
        doubt_w = math.hypot(stored_w.doubt, 0.5 * drying_w)
        drier = by_moisture_k(hot, +1.0, "low", heat_w + drying_w, doubt_w)
        low_k = max(planted.best - planted.doubt, wetter.best - wetter.doubt)
        high_k = min(dry.best + dry.doubt, drier.best + drier.doubt)
        low_k, high_k = min(low_k, high_k), max(low_k, high_k)
        best_k = by_plants_k(likely, likely.best_k, 0.0).best
        return Span(low_k, min(max(best_k, low_k), high_k), high_k)

    def air_share(self, steady: SteadyRise, lit: bool, rise_k: float, gain: float) -> float | None:
        """Share of the expected air that would leave the tent as it is; None where none would.

        Parameters
        ----------
        steady : SteadyRise
            At the speed and intake air of the time.
        lit : bool
            Whether the lamp is lit.
        rise_k, gain : float
            Temperature and humidity ratio of the tent over the intake's [K], [kg/kg].
        """
        heat_w = (self.plan.lamp_power_w if lit else 0.0) - steady.wall_w_per_k.best * rise_k
        per_kg = steady.air_j_per_kg_k * rise_k + LATENT_J_PER_KG * gain
        if per_kg <= 0.0:
            return None
        return max(0.0, heat_w) / per_kg / steady.dry_air_kg_s.best


def humidity_ratios(tent: Air, intake: Air, pressure_pa: float) -> tuple[float, float, float]:
    """Humidity ratios of tent and intake, and that at saturation of the warmer one [kg/kg].

    Raises
    ------
    ValueError
        Out of the range of the air functions.
    """
    warmer_c = max(tent.temperature_c, intake.temperature_c)
    return (
        air.humidity_ratio(tent.temperature_c, tent.humidity_pct, pressure_pa),
        air.humidity_ratio(intake.temperature_c, intake.humidity_pct, pressure_pa),
        air.humidity_ratio(warmer_c, 100.0, pressure_pa),
    )
