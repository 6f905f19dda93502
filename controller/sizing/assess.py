"""What the fan of a planned tent does: flow, margin, speeds, and the air that follows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

from controller import air
from controller.air.constants import DRY_AIR_J_PER_KG_K
from controller.airflow.friction import circle_area_m2
from controller.airflow.operating import OperatingPoint
from controller.airflow.rig import Ducting, quiet_diameter_m
from controller.airflow.span import CASES, OPPOSITE, Case, Span
from controller.sizing.demand import day_needs, leakage_m3_s, night_need_m3_s
from controller.sizing.energy import YearlyEnergy, energy_of_a_year
from controller.sizing.needs import NeedName, Needs
from controller.sizing.plan import BOUNDARY_CONDUCTANCE, Plan
from controller.sizing.steady import Conditions, SteadyAir, settle

SPEED_STEP = 0.05
"""Speeds are recommended in steps of this."""

_BEST_FIRST: tuple[Case, Case, Case] = ("best", "low", "high")

AMPLE = 1.25
"""Margin over the need from which a fan needs no excuse (common practice: a quarter)."""


RACING_M_S = 10.0
"""Air speed in a duct beyond which a wider one is the answer [m/s] (common practice)."""


class Verdict(StrEnum):
    """The verdict on a fan."""

    STRONG_ENOUGH = "strong_enough"
    BARELY_ENOUGH = "barely_enough"
    TOO_WEAK = "too_weak"
    NO_FLOW_HELPS = "no_flow_helps"
    NO_FAN_NAMED = "no_fan_named"


class SpeedRow(NamedTuple):
    """What one speed setting gives.

    Attributes
    ----------
    point : OperatingPoint
        Flow, pressure, power.
    flow_m3_s : Span
        Flow within its doubt [m³/s].
    day : SteadyAir
        Where the tent settles by day.
    """

    point: OperatingPoint
    flow_m3_s: Span
    day: SteadyAir


class WiderRun(NamedTuple):
    """A wider duct for the required flow.

    Attributes
    ----------
    inside_diameter_m : float
        Its inside diameter [m].
    pressure_pa : Span
        What the flow takes through it and the rest of the run [Pa].
    """

    inside_diameter_m: float
    pressure_pa: Span


class SettledSpan(NamedTuple):
    """Where the air settles and what the leaves do in it, within its doubt; as `SteadyAir`."""

    temperature_c: Span
    humidity_pct: Span
    co2_ppm: Span
    leaf_c: Span
    leaf_vpd_pa: Span


@dataclass(frozen=True)
class Sizing:
    """All figures of a plan; each figure is worked out when first asked for."""

    plan: Plan

    @classmethod
    def from_plan(cls, plan: Plan) -> Sizing:
        """Size a plan; an unknown duct fits the flow needed while no fan is named."""
        rig = plan.rig
        if rig.has_fan or rig.duct_diameter_m is not None:
            return cls(plan)
        flow = cls(plan).settling_flow_m3_s.best
        return cls(replace(plan, rig=replace(rig, design_flow_m3_s=flow)))

    @cached_property
    def density_kg_per_m3(self) -> float:
        """Density of the tent's air at the top of its day bands [kg/m³]."""
        plan = self.plan
        ratio = air.humidity_ratio(plan.day_c[1], plan.day_humidity_pct[1], plan.pressure_pa)
        return air.density_kg_per_m3(plan.day_c[1], ratio, plan.pressure_pa)

    def needs(self, case: Case = "best") -> Needs:
        """The four needs by day [m³/s]."""
        return self._needs[case]

    @cached_property
    def _needs(self) -> dict[Case, Needs]:
        return {case: day_needs(self.plan, case) for case in CASES}

    @cached_property
    def required_m3_s(self) -> Span:
        """The largest need by day [m³/s]; infinite where no flow helps."""
        return Span.around(*(self.needs(case).required for case in _BEST_FIRST))

    @cached_property
    def night_m3_s(self) -> Span:
        """The need by night [m³/s]."""
        return Span.around(*(night_need_m3_s(self.plan, case) for case in _BEST_FIRST))

    @cached_property
    def need_spans_m3_s(self) -> dict[NeedName, Span]:
        """Each need by day within its doubt [m³/s]."""
        cases = [self.needs(case).by_name() for case in _BEST_FIRST]
        return {name: Span.around(*(case[name] for case in cases)) for name in cases[0]}

    @cached_property
    def delivered(self) -> OperatingPoint | None:
        """Operating point at full speed; None without a fan."""
        return self.point(1.0) if self.plan.rig.has_fan else None

    @cached_property
    def delivered_m3_s(self) -> Span | None:
        """Delivered flow at full speed within its doubt [m³/s]."""
        return self.flow_span(1.0) if self.plan.rig.has_fan else None

    def point(self, speed: float, case: Case = "best") -> OperatingPoint:
        """Operating point at a speed."""
        return self.plan.rig.point(speed, self.density_kg_per_m3, case)

    def flow_span(self, speed: float) -> Span:
        """Delivered flow at a speed within its doubt [m³/s]."""
        return Span.around(*(self.point(speed, case).flow_m3_s for case in _BEST_FIRST))

    @cached_property
    def needed_pressure_pa(self) -> Span | None:
        """Static pressure at the required flow through this run [Pa]; None where none helps."""
        flow = self.required_m3_s.best
        if not math.isfinite(flow):
            return None
        return self.pressure_span_pa(self.plan.rig, flow)

    @cached_property
    def wider_run(self) -> WiderRun | None:
        """A run for the required flow where that would race through the duct; None where not.

        With a carbon filter made for the wider duct, if the present one is for less.
        """
        rig, flow = self.plan.rig, self.required_m3_s.best
        if not math.isfinite(flow) or flow / circle_area_m2(rig.inside_diameter_m) <= RACING_M_S:
            return None
        inside_diameter_m = quiet_diameter_m(flow)
        if inside_diameter_m <= rig.inside_diameter_m:
            return None
        wider = self.wider_rig(flow, inside_diameter_m)
        return WiderRun(inside_diameter_m, self.pressure_span_pa(wider, flow))

    def wider_rig(self, flow_m3_s: float, inside_diameter_m: float) -> Ducting:
        """The run with a wider duct [m] and openings to match, its filter fit for the flow."""
        wider = replace(self.plan.rig, duct_diameter_m=inside_diameter_m, openings_m2=None)
        if wider.filter_flow_m3_s is not None and flow_m3_s > wider.filter_flow_m3_s:
            wider = replace(wider, filter_drop_pa=None, filter_flow_m3_s=None)
        return wider

    def pressure_span_pa(self, rig: Ducting, flow_m3_s: float) -> Span:
        """Pressure that a run takes at a flow [m³/s], within its doubt [Pa]."""
        return Span.around(
            *(
                rig.system(case).pressure_drop_pa(flow_m3_s, self.density_kg_per_m3)
                for case in _BEST_FIRST
            )
        )

    @property
    def margin(self) -> float | None:
        """Delivered over required, less one; None without a fan or where no flow helps."""
        required = self.required_m3_s.best
        if self.delivered is None or not 0.0 < required < math.inf:
            return None
        return self.delivered.flow_m3_s / required - 1.0

    @property
    def verdict(self) -> Verdict:
        """What it comes to, on the best estimates."""
        required = self.required_m3_s.best
        if math.isinf(required):
            return Verdict.NO_FLOW_HELPS
        if self.delivered is None:
            return Verdict.NO_FAN_NAMED
        flow = self.delivered.flow_m3_s
        if flow < required:
            return Verdict.TOO_WEAK
        return Verdict.STRONG_ENOUGH if flow >= AMPLE * required else Verdict.BARELY_ENOUGH

    @property
    def is_certain(self) -> bool:
        """Whether the verdict stands in every case of doubt."""
        if self.delivered_m3_s is None:
            return False
        if self.delivered.flow_m3_s < self.required_m3_s.best:  # type: ignore[union-attr]
            return self.delivered_m3_s.high < self.required_m3_s.low
        return self.delivered_m3_s.low >= self.required_m3_s.high

    @cached_property
    def day_speed(self) -> float | None:
        """Lowest speed setting that suffices by day (0–1); None when none does."""
        return self._sufficient_speed(self.required_m3_s.best)

    @cached_property
    def night_speed(self) -> float | None:
        """Lowest speed setting that suffices by night; 0 where leakage does it."""
        if self.night_m3_s.best <= leakage_m3_s(self.plan):
            return 0.0
        return self._sufficient_speed(self.night_m3_s.best)

    @property
    def day_share(self) -> float | None:
        """Share of the day that a fan must run if it only knows on and off, on average (0–1)."""
        return self._share(self.required_m3_s.best)

    @property
    def night_share(self) -> float | None:
        """The same of the night; 0 where leakage does it."""
        return 0.0 if self.night_speed == 0.0 else self._share(self.night_m3_s.best)

    def _share(self, flow_m3_s: float) -> float | None:
        if self.delivered is None or not math.isfinite(flow_m3_s):
            return None
        return min(1.0, flow_m3_s / self.delivered.flow_m3_s)

    def _sufficient_speed(self, flow_m3_s: float) -> float | None:
        if self.delivered is None or self.delivered.flow_m3_s < flow_m3_s:
            return None
        if self.plan.is_relay:
            return 1.0
        steps = round(1.0 / SPEED_STEP)
        first = min(steps, math.ceil(self.plan.min_speed / SPEED_STEP - 1e-9))
        return next(
            step / steps
            for step in range(max(1, first), steps + 1)
            if self.point(step / steps).flow_m3_s >= flow_m3_s
        )

    @cached_property
    def speed_rows(self) -> tuple[SpeedRow, ...]:
        """Every tenth of full speed from the fan's lowest on; a relay has one."""
        if self.delivered is None:
            return ()
        first = 10 if self.plan.is_relay else max(1, math.ceil(self.plan.min_speed * 10 - 1e-9))
        return tuple(
            SpeedRow(self.point(s / 10), self.flow_span(s / 10), self.settled(s / 10))
            for s in range(min(10, first), 11)
        )

    def settled(self, speed: float, lit: bool = True, flow_m3_s: float | None = None) -> SteadyAir:
        """Air that the tent settles at [°C, %, ppm] on the best estimates.

        Parameters
        ----------
        speed : float
            Fan speed (0–1).
        lit : bool
            Whether the lamp is lit.
        flow_m3_s : float or None
            Flow instead of that of the fan [m³/s].
        """
        flow = self.point(speed).flow_m3_s if flow_m3_s is None else flow_m3_s
        return settle(self._conditions(flow, speed, lit, "best", "best", "best"))

    def settled_span(self, flow_m3_s: Span, speed: float, lit: bool = True) -> SettledSpan:
        """The same within its doubt: the corners that make it hot, cool, moist and dry."""
        corners = [("best", "best", "best")] + [
            (heat, moisture, flow)
            for heat in CASES
            for moisture in CASES
            for flow in ("low", "high")
        ]
        airs = [
            settle(self._conditions(flow_m3_s.at(flow), speed, lit, heat, moisture, flow))  # type: ignore[arg-type]
            for heat, moisture, flow in corners
        ]
        return SettledSpan(
            Span.around(*(settled.temperature_c for settled in airs)),
            Span.around(*(settled.humidity_pct for settled in airs)),
            Span.around(*(settled.co2_ppm for settled in airs)),
            Span.around(*(settled.leaf_c for settled in airs)),
            Span.around(*(settled.leaf_vpd_pa for settled in airs)),
        )

    @cached_property
    def settling_flow_m3_s(self) -> Span:
        """Flow that `settles_at` holds for [m³/s]: delivered, else required, else the rule's."""
        if self.delivered_m3_s is not None:
            return self.delivered_m3_s
        required = self.required_m3_s.best
        return Span.known(required if math.isfinite(required) else self.needs().air_change)

    @cached_property
    def settles_at(self) -> SteadyAir:
        """Air by day at `settling_flow_m3_s`."""
        return self.settled(1.0, flow_m3_s=self.settling_flow_m3_s.best)

    @cached_property
    def settles_within(self) -> SettledSpan:
        """The same within its doubt."""
        return self.settled_span(self.settling_flow_m3_s, 1.0)

    @cached_property
    def warmest_intake_c(self) -> float | None:
        """Intake air above which full speed no longer holds the day band [°C], leaves aside."""
        if self.delivered is None:
            return None
        plan = self.plan
        heat_w = plan.lamp_power_w + plan.fan_heat_in_tent_w(1.0, "best")
        capacity = self.density_kg_per_m3 * DRY_AIR_J_PER_KG_K
        carried = capacity * self.delivered.flow_m3_s + plan.wall_ua.best
        return plan.day_c[1] - heat_w / carried

    @cached_property
    def dry_temperature_c(self) -> float:
        """Where the tent settles by day at `settling_flow_m3_s` if nothing evaporates [°C]."""
        flow = self.settling_flow_m3_s.best
        planted = self._conditions(flow, 1.0, True, "best", "best", "best")
        return settle(planted._replace(leaf_area_m2=0.0)).temperature_c

    @property
    def fan_failed_c(self) -> float:
        """Where the lit tent settles with its fan at rest and nothing evaporating [°C]."""
        return self.fan_failed_within_c.best

    @cached_property
    def fan_failed_within_c(self) -> Span:
        """The same within its doubt [°C]: a warm room and a fabric that keeps heat are worst."""

        def still_c(heat: Case, leak: Case) -> float:
            still = self._conditions(0.0, 0.0, True, heat, "best", leak)
            return settle(still._replace(leaf_area_m2=0.0)).temperature_c

        return Span.around(still_c("best", "low"), still_c("low", "high"), still_c("high", "low"))

    @cached_property
    def running_by_day(self) -> SteadyAir | None:
        """About where the tent settles with an on-off fan that runs `day_share` of the time."""
        if self.delivered is None or not self.plan.is_relay or not self.day_share:
            return None
        return self.settled(1.0, flow_m3_s=self.day_share * self.delivered.flow_m3_s)

    @cached_property
    def energy(self) -> YearlyEnergy | None:
        """A year of the schedule; None when nothing is known of the fan."""
        power = self.plan.rig.power_w()
        return None if power is None else energy_of_a_year(self.plan, power)

    @cached_property
    def fan_kwh_within(self) -> Span | None:
        """The scheduled year of the fan within the doubt of its power [kWh]."""
        powers = [self.plan.rig.power_w(case) for case in _BEST_FIRST]
        years = [
            energy_of_a_year(self.plan, power).fan_kwh for power in powers if power is not None
        ]
        return Span.around(*years) if years else None

    def balance(self, flow_m3_s: float, speed: float, lit: bool, case: Case) -> Conditions:
        """What acts on the air at a flow [m³/s]; "high" makes it hot, leaves and walls with it."""
        return self._conditions(flow_m3_s, speed, lit, case, OPPOSITE[case], OPPOSITE[case])

    def _conditions(
        self, flow_m3_s: float, speed: float, lit: bool, heat: Case, moisture: Case, flow: Case
    ) -> Conditions:
        plan = self.plan
        lamp_w = plan.lamp_power_w if lit else 0.0
        return Conditions(
            heat_w=lamp_w + plan.fan_heat_in_tent_w(speed, heat),
            flow_m3_s=max(flow_m3_s, leakage_m3_s(plan, flow)),
            wall_ua_w_per_k=plan.wall_ua.at(OPPOSITE[heat]),
            intake_c=plan.intake_temperature_c.at(heat),
            intake_humidity_pct=plan.intake_rh_pct.at(moisture),
            intake_co2_ppm=plan.intake_ppm.at(OPPOSITE[moisture]),
            leaf_area_m2=plan.leaves_m2.at(moisture),
            leaf_ppfd=plan.leaf_ppfd(moisture) if lit else 0.0,
            traits=plan.traits,
            pressure_pa=plan.pressure_pa,
            boundary_conductance=BOUNDARY_CONDUCTANCE.at(moisture),
        )
