"""What `lungwort size --json` prints: SI, units in the keys, null where there is no figure."""

from __future__ import annotations

import math
from typing import Any

from controller.airflow.span import Assumption, Span
from controller.sizing.arrangements import Placement
from controller.sizing.assess import Sizing, SpeedRow
from controller.sizing.demand import lamp_power_the_rule_cools_w, leakage_m3_s
from controller.sizing.page import Answer
from controller.sizing.plan_changes import Remedy
from controller.sizing.remedies import remedies
from controller.sizing.steady import SteadyAir
from controller.sizing.verdict import verdict

_S_PER_H = 3600.0


def as_json(answer: Answer) -> dict[str, Any]:
    """All figures, for a program.

    A `…_range` is [low, high] of the figure it is named after, `null` for a bound that no flow
    reaches. Each of the `remedies` improves the verdict to the one it gives, when `size` is called
    with its options as well.
    """
    return {key: _rounded(value) for key, value in _figures(answer).items()}


def _figures(answer: Answer) -> dict[str, Any]:
    sizing = answer.sizing
    plan, needs = sizing.plan, sizing.needs()
    price = plan.price_per_kwh
    energy = sizing.energy
    pressure = sizing.needed_pressure_pa
    planted = plan.leaves_m2.best > 0.0
    return {
        "tent": answer.name,
        "verdict": sizing.verdict.value,
        "is_certain": sizing.is_certain,
        "sentence": verdict(sizing, answer.units, most_remedies=None),
        "remedies": [_remedy(remedy) for remedy in remedies(sizing, answer.units)],
        "volume_m3": plan.volume_m3,
        "need_m3_per_h": {key: _per_h(flow) for key, flow in needs.by_name().items()},
        "need_m3_per_h_range": {
            key: _range(span, _S_PER_H) for key, span in sizing.need_spans_m3_s.items()
        },
        "required_m3_per_h": _per_h(needs.required),
        "required_m3_per_h_range": _range(sizing.required_m3_s, _S_PER_H),
        "ruled_by": needs.ruled_by,
        "night_need_m3_per_h": _per_h(sizing.night_m3_s.best),
        "night_need_m3_per_h_range": _range(sizing.night_m3_s, _S_PER_H),
        "leakage_m3_per_h": _per_h(leakage_m3_s(plan)),
        "needed_pressure_pa": pressure.best if pressure else None,
        "needed_pressure_pa_range": _range(pressure),
        "wider_duct": sizing.wider_run
        and {
            "duct_diameter_m": sizing.wider_run.inside_diameter_m,
            "needed_pressure_pa": sizing.wider_run.pressure_pa.best,
            "needed_pressure_pa_range": _range(sizing.wider_run.pressure_pa),
        },
        "rule_of_thumb_cools_w": lamp_power_the_rule_cools_w(plan),
        "delivered_m3_per_h": sizing.delivered and _per_h(sizing.delivered.flow_m3_s),
        "delivered_m3_per_h_range": _range(sizing.delivered_m3_s, _S_PER_H),
        "static_pressure_pa": sizing.delivered and sizing.delivered.pressure_pa,
        "pressure_parts_pa": sizing.delivered
        and plan.rig.system().parts_pa(sizing.delivered.flow_m3_s, sizing.density_kg_per_m3),
        "density_kg_per_m3": sizing.density_kg_per_m3,
        "margin": sizing.margin,
        "day_speed": sizing.day_speed,
        "night_speed": sizing.night_speed,
        "day_share": sizing.day_share if plan.is_relay else None,
        "night_share": sizing.night_share if plan.is_relay else None,
        "warmest_intake_c": sizing.warmest_intake_c,
        "settles_at": _air(sizing.settles_at, planted),
        "settles_at_range": _settled_range(sizing, planted),
        "settles_at_without_plants_c": sizing.dry_temperature_c,
        "settles_at_with_failed_fan_c": sizing.fan_failed_c,
        "settles_at_with_failed_fan_c_range": _range(sizing.fan_failed_within_c),
        "settles_at_day_share": sizing.running_by_day and _air(sizing.running_by_day, planted),
        "settles_at_flow_m3_per_h": _per_h(sizing.settling_flow_m3_s.best),
        "settles_at_scheduled": sizing.delivered
        and {
            "day": _air(sizing.settled(plan.day_speed), planted),
            "night": _air(sizing.settled(plan.night_speed, lit=False), planted),
        },
        "speeds": [_speed(row, planted) for row in sizing.speed_rows],
        "fan_power_w": plan.rig.power_w(),
        "energy_kwh_per_year": energy and energy.fan_kwh,
        "energy_kwh_per_year_range": _range(sizing.fan_kwh_within),
        "energy_all_day_kwh_per_year": energy and energy.fan_all_day_kwh,
        "lamp_energy_kwh_per_year": energy and energy.lamp_kwh,
        "cost_per_year": energy.fan_kwh * price if energy and price is not None else None,
        "cost_all_day_per_year": (
            energy.fan_all_day_kwh * price if energy and price is not None else None
        ),
        "currency": plan.currency if price is not None else None,
        "arrangement": plan.rig.arrangement,
        "arrangements": [_placement(placement) for placement in answer.placements],
        "recommended_arrangement": answer.recommended.arrangement,
        "priorities": list(answer.priorities),
        "assumed": [_assumption(item) for item in answer.assumed],
    }


def _rounded(value: Any) -> Any:
    """Eight digits: more than anybody needs, without the dust of binary fractions."""
    if isinstance(value, float):
        return float(f"{value:.8g}")
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    return value


def _per_h(flow_m3_s: float) -> float | None:
    return flow_m3_s * _S_PER_H if math.isfinite(flow_m3_s) else None


def _range(span: Span | None, factor: float = 1.0) -> list[float | None] | None:
    if span is None:
        return None
    return [end * factor if math.isfinite(end) else None for end in (span.low, span.high)]


def _air(settled: SteadyAir, planted: bool) -> dict[str, float | None]:
    return {
        "temperature_c": settled.temperature_c,
        "humidity_pct": settled.humidity_pct,
        "co2_ppm": settled.co2_ppm,
        "vpd_pa": settled.vpd_pa,
        "leaf_temperature_c": settled.leaf_c if planted else None,
        "leaf_vpd_pa": settled.leaf_vpd_pa if planted else None,
        "transpiration_kg_per_h": settled.transpiration_kg_s * _S_PER_H,
    }


def _settled_range(sizing: Sizing, planted: bool) -> dict[str, Any]:
    within = sizing.settles_within
    return {
        "temperature_c": _range(within.temperature_c),
        "humidity_pct": _range(within.humidity_pct),
        "co2_ppm": _range(within.co2_ppm),
        "leaf_temperature_c": _range(within.leaf_c) if planted else None,
        "leaf_vpd_pa": _range(within.leaf_vpd_pa) if planted else None,
    }


def _speed(row: SpeedRow, planted: bool) -> dict[str, Any]:
    return {
        "speed": row.point.speed,
        "delivered_m3_per_h": _per_h(row.point.flow_m3_s),
        "delivered_m3_per_h_range": _range(row.flow_m3_s, _S_PER_H),
        "static_pressure_pa": row.point.pressure_pa,
        "power_w": row.point.power_w,
        "settles_at": _air(row.day, planted),
    }


def _remedy(remedy: Remedy) -> dict[str, Any]:
    return {
        "name": remedy.name,
        "words": remedy.words,
        "options": list(remedy.options),
        "verdict": Sizing(remedy.plan).verdict.value,
    }


def _placement(placement: Placement) -> dict[str, Any]:
    point = placement.point
    return {
        "arrangement": placement.arrangement,
        "delivered_m3_per_h": point and _per_h(point.flow_m3_s),
        "static_pressure_pa": point and point.pressure_pa,
        "motor_heat_in_tent_w": placement.motor_heat_in_tent_w,
        "motor_heat_outside_w": placement.motor_heat_outside_w,
        "headroom_lost_m": placement.headroom_lost_m,
        "lamp_lowered_m": placement.lamp_lowered_m,
        "lamp_at_most_m": placement.lamp_at_most_m,
        "pole_load_kg": placement.pole_load_kg,
        "floor_space_m2": placement.floor_space_m2,
        "duct_m": placement.duct_m,
        "bends": placement.bends,
        "smell_path": placement.smell_path,
        "leaks_smell": ("no", "at_one_joint", "along_the_duct")[placement.leaks_smell],
        "noise_side": placement.noise_side,
    }


def _assumption(assumed: Assumption) -> dict[str, Any]:
    return {
        "what": assumed.what,
        "kind": assumed.kind,
        "value": assumed.span.best,
        "range": [assumed.span.low, assumed.span.high],
        "basis": assumed.basis,
        "give": assumed.option or None,
    }
