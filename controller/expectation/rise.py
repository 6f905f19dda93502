"""How far a tent settles above its intake air, with the doubt of all that goes into it. Pure, SI.

Lamp power against air flow, walls and evaporation, as `controller.sizing` reckons them. The hottest
case counts on no evaporation at all: seedlings hardly evaporate, and plants that wilt stop. Taken
for granted: the room around the tent is as warm as the intake air, the lamp draws what the config
says, and no other heater or cooler stands in the tent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.airflow.span import CASES, Case
from controller.sizing.needs import DRY_AIR_J_PER_KG_K, LATENT_J_PER_KG, VAPOUR_J_PER_KG_K
from controller.sizing.steady import settle

if TYPE_CHECKING:
    from controller.sizing.assess import Sizing
    from controller.sizing.plan import Plan
    from controller.settings import Settings

UNMIXED = 0.25
"""Share by which the canopy may be further above the intake, or less far, than the air that leaves
(engineering judgement, no source: air under a lamp is not well mixed)."""

CONTENTS_W_PER_K_M2 = 24.0
"""Heat that pots, soil and frame exchange with the air, per floor area, at most [W/(m² K)]
(engineering judgement, no source: twice the 12 that two sides of a wet pot come to)."""

LAMP_ONTO_CONTENTS = 0.4
"""Share of the lamp's heat that lands on the contents and comes back hours later, at most
(engineering judgement, no source)."""

# States are told apart in these steps: far finer than the doubt, and a day has a few dozen.
_SPEED_STEPS = 50
_INTAKE_STEP_K = 4.0
_HUMIDITY_STEP_PCT = 20.0
# Outside of this the air functions and the sensors have little to say.
_COLDEST_C, _HOTTEST_C = -20.0, 50.0


class Air(NamedTuple):
    """Temperature [°C] and relative humidity [%] of some air."""

    temperature_c: float
    humidity_pct: float


class Pair(NamedTuple):
    """A figure at least and at most."""

    low: float
    high: float


class SteadyRise(NamedTuple):
    """Rise of the settled tent over its intake air, sensors and what is stored left aside.

    Attributes
    ----------
    low_k, best_k, high_k : float
        In the coolest, the likeliest and the hottest case [K].
    low_w_per_k, high_w_per_k : float
        What a kelvin of rise carries off in the coolest and the hottest case [W/K], > 0.
    low_dry_kg_s, high_dry_kg_s : float
        Dry air through the tent in the coolest and the hottest case [kg/s].
    """

    low_k: float
    best_k: float
    high_k: float
    low_w_per_k: float
    high_w_per_k: float
    low_dry_kg_s: float
    high_dry_kg_s: float


@dataclass(frozen=True)
class ExpectedRise:
    """What one config lets expect.

    Attributes
    ----------
    plan : Plan
        The tent, without its intake air.
    accuracy_k, accuracy_pct : float
        Errors that the data sheets of tent's and intake's sensor admit: of temperatures added up,
        of humidities, whose sheets give the largest there is, as independent errors [K], [%].
    """

    plan: Plan
    accuracy_k: float
    accuracy_pct: float
    _known: dict[tuple[int, bool, int, int], SteadyRise | None] = field(
        default_factory=dict, repr=False, compare=False
    )

    @classmethod
    def from_settings(cls, settings: Settings) -> ExpectedRise | None:
        """Take a config; None where it has no fan figures, no lamp power or no intake sensor."""
        from controller.sensors.profiles import profile_of
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
            sum(max(profile.accuracy_k for profile in role) for role in profiles.values()),
            math.hypot(*(max(p.accuracy_pct for p in role) for role in profiles.values())),
        )

    @property
    def contents_w_per_k(self) -> float:
        """Heat that the contents exchange with the air, at most [W/K]."""
        return CONTENTS_W_PER_K_M2 * self.plan.floor_m2

    @property
    def lamp_stored_w(self) -> float:
        """What of the lamp's heat comes hours later, at most [W]."""
        return LAMP_ONTO_CONTENTS * self.plan.lamp_power_w

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

    def needed_flow_m3_s(self, intake_c: float, limit_c: float) -> float:
        """Flow that holds a lit tent at a limit, nothing evaporating [m³/s]; infinite if none."""
        from controller.sizing.demand import day_terms
        from controller.sizing.needs import heat_flow_m3_s

        plan = replace(
            self.plan, intake_c=intake_c, day_c=(min(self.plan.day_c[0], limit_c), limit_c)
        )
        terms = day_terms(plan)
        return heat_flow_m3_s(
            terms.heat_w, terms.rise_k, terms.capacity_j_per_m3_k, terms.wall_ua_w_per_k
        )

    def delivered_m3_s(self, speed: float = 1.0) -> float:
        """Flow that the fan is likely to deliver [m³/s]."""
        return self._sizing(20.0, 50.0).point(speed).flow_m3_s

    def _sizing(self, intake_c: float, intake_pct: float) -> Sizing:
        from controller.sizing.assess import Sizing

        return Sizing(replace(self.plan, intake_c=intake_c, intake_humidity_pct=intake_pct))

    def _solve(
        self, speed: float, lit: bool, intake_c: float, intake_pct: float
    ) -> SteadyRise | None:
        sizing = self._sizing(intake_c, intake_pct)
        flow = sizing.flow_span(speed)
        rises: dict[Case, float] = {}
        carried: dict[Case, float] = {}
        dry_kg_s: dict[Case, float] = {}
        try:
            ratio = air.humidity_ratio(intake_c, intake_pct, self.plan.pressure_pa)
            for case in CASES:
                # In the hottest case the least air flows.
                at = {"low": flow.high, "best": flow.best, "high": flow.low}[case]
                acting = sizing.balance(at, speed, lit, case)
                if case == "high":
                    acting = acting._replace(leaf_area_m2=0.0)
                settled_c = settle(acting).temperature_c
                rises[case] = settled_c - intake_c
                volume = air.specific_volume_m3_per_kg(settled_c, ratio, self.plan.pressure_pa)
                dry = acting.flow_m3_s / volume
                per_kg = DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * ratio
                carried[case] = dry * per_kg + acting.wall_ua_w_per_k
                dry_kg_s[case] = dry
        except ValueError:  # beyond what the air functions know
            return None
        return SteadyRise(
            rises["low"],
            rises["best"],
            rises["high"],
            carried["low"],
            carried["high"],
            dry_kg_s["low"],
            dry_kg_s["high"],
        )

    def at_moisture(
        self, steady: SteadyRise, heat_w: Pair, more_ratio: Pair
    ) -> Pair:
        """The rise at least and at most from the moisture that was measured [K].

        Water that evaporates takes its heat out of the tent, whatever the plants do, and leaves
        with the same air. So far the heat balance needs no model of a plant.

        Parameters
        ----------
        steady : SteadyRise
            At the speed and intake air of the time.
        heat_w : Pair
            Heat set free in the tent, at least and at most [W].
        more_ratio : Pair
            By how much the tent's humidity ratio is above the intake's, at least and at most
            [kg/kg].
        """
        driest, wettest = max(0.0, more_ratio.low), max(0.0, more_ratio.high)
        low = heat_w.low - steady.low_dry_kg_s * LATENT_J_PER_KG * wettest
        high = heat_w.high - steady.high_dry_kg_s * LATENT_J_PER_KG * driest
        return Pair(low / steady.low_w_per_k, high / steady.high_w_per_k)


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
