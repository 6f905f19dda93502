"""What can go wrong with a planned tent, and what always can: said where the plan is read."""

from __future__ import annotations

import math
from enum import IntEnum
from typing import NamedTuple

from controller import display
from controller.airflow.friction import circle_area_m2
from controller.airflow.rig import OPENINGS_OVER_DUCT, Ducting
from controller.airflow.span import Span
from controller.display import Units
from controller.fire_hazard import DANGEROUS_C
from controller.sizing import amounts as show
from controller.sizing.assess import Sizing
from controller.sizing.demand import leakage_m3_s
from controller.sizing.plan import Plan
from controller.sizing.verdict import velocity

_MOIST_CARBON_PCT = 70.0
_LOUD_M_S = 7.0
_WALLS_SUCK_IN_PA = 15.0
_TOO_HOT_C = 35.0
# So little beyond its intake air a tent isn't hot by its lamp [K] (engineering judgement).
_BY_THE_LAMP_K = 5.0
_MUCH_CO2_PPM = 1500.0
# So far below the night band the air may be without a word [K].
_AS_WARM_K = 1.0
# A lamp of this power warms its room by a kelvin or so [W].
_WARMS_THE_ROOM_W = 50.0
# A closed room gets warmer for each watt set free in it, in the long run (engineering judgement:
# from a large room that shares its walls with the house to a small closet) [K/W].
_ROOM_K_PER_W = (0.005, 0.016)
# Daily light below which no crop is worth its lamp, and above which these crops gain little
# [mol m⁻² d⁻¹]. Herbs want 12 and more (Plants 13:652), lettuce 17 (Cornell CEA), compact
# tomatoes 10 to 18 (Agronomy 12:1704); the limits themselves are engineering judgement.
_TOO_DARK_MOL = 6.0
_TOO_BRIGHT_MOL = 50.0


class Harm(IntEnum):
    """What a caution guards against, the worst first."""

    MAINS = 0
    PEOPLE = 1
    HOUSE = 2
    PLAN = 3  # the figures would not hold
    CROP = 4
    COMFORT = 5


class Caution(NamedTuple):
    """A caution, what it guards against, and whether it holds for every tent."""

    harm: Harm
    text: str
    is_general: bool = False


def cautions(sizing: Sizing, units: Units, most: int | None = None) -> list[str]:
    """What can go wrong with this tent, and what always can, the worst harm first.

    Parameters
    ----------
    sizing : Sizing
        The figures.
    units : str
        "si" or "us".
    most : int or None
        How many; the one about mains power is always among them. None: all.
    """
    # Of the same harm those of this tent come before those of every tent.
    cautions = [*_of_the_air(sizing, units), *_of_the_run(sizing, units), *_OF_EVERY_TENT]
    cautions.sort(key=_rank)
    return [caution.text for caution in cautions][:most]


def _rank(caution: Caution) -> tuple[int, bool]:
    """What is true of every tent comes last unless it can hurt people."""
    late = caution.is_general and caution.harm > Harm.PEOPLE
    return (max(Harm) + 1 if late else caution.harm, caution.is_general)


_OF_EVERY_TENT = (
    Caution(
        Harm.MAINS,
        "Mains wiring is a licensed electrician's work, to your local code, behind an RCD (GFCI), "
        "with drip loops and nothing that can burn near the lamp.",
        is_general=True,
    ),
    Caution(
        Harm.PEOPLE,
        "Never draw air from a room where a boiler, stove or heater with an open flue burns: the "
        "fan can pull its fumes, carbon monoxide, back into the room.",
        is_general=True,
    ),
    Caution(
        Harm.HOUSE,
        "Lead the moist air outdoors or into a large room, never into a wall, roof space or attic, "
        "where it condenses and rots what it meets.",
        is_general=True,
    ),
)


def _of_the_air(sizing: Sizing, units: Units) -> list[Caution]:
    plan, settled = sizing.plan, sizing.settles_at
    cautions = []
    slower = "shorter runs keep" if plan.is_relay else "a lower speed keeps"
    by_day = f"{display.humidity(settled.humidity_pct)} by day"
    here = "At full speed"
    if sizing.delivered is None:
        here = f"At {show.computed_flow(sizing.settling_flow_m3_s.best, units)}"
    if settled.humidity_pct < plan.day_humidity_pct[0]:
        cautions.append(
            Caution(
                Harm.COMFORT,
                f"{here} the tent settles at {by_day}, drier than its band: {slower} it moister, "
                f"or "
                "moisten the room.",
            )
        )
    elif settled.humidity_pct > plan.day_humidity_pct[1]:
        cautions.append(
            Caution(
                Harm.CROP,
                f"{here} the tent settles at {by_day}, moister than its band: expect mould "
                "unless the room is dried.",
            )
        )
    if settled.temperature_c < plan.day_c[0]:
        cautions.append(
            Caution(
                Harm.CROP,
                f"{here} the tent settles at "
                f"{display.temperature(settled.temperature_c, units)}, cooler than its band: "
                + _warmer(sizing, slower, units),
            )
        )
    night_c = plan.intake_temperature_c.best
    if not plan.is_never_dark and night_c < plan.night_c[0] - _AS_WARM_K:
        cautions.append(
            Caution(
                Harm.HOUSE,
                f"By night the tent is as cold as its air, {display.temperature(night_c, units)}, "
                f"and "
                f"its band begins at {display.temperature(plan.night_c[0], units)}: warm the "
                f"room, or "
                "move the tent. A heater among leaves and fabric can start a fire; none that burns "
                "fuel belongs in there.",
            )
        )
    if plan.rig.has_filter and settled.humidity_pct > _MOIST_CARBON_PCT:
        cautions.append(
            Caution(
                Harm.COMFORT,
                f"Carbon takes up smell poorly from air above about "
                f"{display.humidity(_MOIST_CARBON_PCT)} (common practice).",
            )
        )
    cautions += _of_the_lamp(sizing, units)
    if not plan.is_never_dark and math.isinf(sizing.night_m3_s.best):
        cautions.append(
            Caution(
                Harm.CROP,
                "By night the room's air is as moist as the tent may be: warm the tent a little or "
                "dry the room, no fan can.",
            )
        )
    if plan.room_kind == "cellar":
        cautions.append(
            Caution(
                Harm.PEOPLE,
                "In a cellar where something ferments, carbon dioxide collects over the floor and "
                "suffocates unnoticed: air it before you go in, and hang a CO2 alarm there.",
            )
        )
    if plan.intake_ppm.is_known and plan.intake_ppm.best > _MUCH_CO2_PPM:
        cautions.append(
            Caution(
                Harm.PEOPLE,
                f"CO2 can harm people: {show.ppm(plan.intake_ppm.best)} is stale air to work in, "
                f"and "
                "5000 ppm the usual limit for a working day (from memory). Use a CO2 alarm, and "
                "never "
                "sleep there.",
            )
        )
    return cautions


def _warmer(sizing: Sizing, slower: str, units: Units) -> str:
    """Whether less air would warm it enough."""
    resting_c = sizing.fan_failed_c
    if resting_c >= sizing.plan.day_c[0]:
        return f"{slower} it warmer."
    return (
        f"less air alone cannot help, with none it gets to about "
        f"{show.about(resting_c, units)}. "
        "Warm the room, or draw air from a warmer place."
    )


def _of_the_lamp(sizing: Sizing, units: Units) -> list[Caution]:
    plan = sizing.plan
    if plan.lamp_power_w <= 0.0:
        return []
    cautions = []
    failed = sizing.fan_failed_within_c
    worst = "" if failed.high - failed.best < 1.0 else f", perhaps {show.about(failed.high, units)}"
    heat = _of_the_failed_fan(failed, plan.intake_temperature_c.high, units)
    cautions.append(
        Caution(
            Harm.HOUSE if heat else Harm.CROP,
            "Should the fan fail while the lamp is lit, a tent of small plants gets to about "
            f"{show.about(failed.best, units)}{worst}.{heat}",
        )
    )
    too_cold = sizing.fan_failed_c < plan.day_c[0]  # then a warmer room is welcome
    if plan.lamp_power_w >= _WARMS_THE_ROOM_W and not too_cold:
        low, high = (plan.lamp_power_w * k_per_w for k_per_w in _ROOM_K_PER_W)
        warmer = show.span(Span(low, low, high), lambda k: _roughly(k, units))
        cautions.append(
            Caution(
                Harm.PLAN,
                f"Shut, the room gets {warmer} warmer from the lamp (engineering judgement), and "
                f"so "
                "does the intake air: lead the air outdoors, or plan for it with "
                "--intake-temperature.",
            )
        )
    if plan.intake_c is None:
        taken_c = display.temperature(plan.intake_temperature_c.best, units)
        top_c = display.temperature(plan.day_c[1], units)
        cautions.append(
            Caution(
                Harm.PLAN,
                f"The intake air is taken as {taken_c}. On summer days a room without cooling is "
                f"warmer than {top_c}, and then no fan holds the band: `lungwort rehearse` shows "
                f"such "
                "days, --intake-temperature one of them.",
            )
        )
    cautions += _of_the_light(plan)
    return cautions


def _roughly(k: float, units: Units) -> str:
    """A difference of temperatures that is judged, not measured: to a digit, or whole."""
    value, unit = (1.8 * k, "°F") if units == "us" else (k, "K")
    return f"{value:.0f} {unit}" if value >= 10.0 else f"{value:.1g} {unit}"


def _of_the_failed_fan(failed: Span, intake_c: float, units: Units) -> str:
    """What a tent without air needs, where it may get too hot by its lamp; else ""."""
    if failed.high <= _TOO_HOT_C or failed.high < intake_c + _BY_THE_LAMP_K:
        return ""
    if failed.high > DANGEROUS_C:
        surely, limit = failed.best > DANGEROUS_C, display.temperature(DANGEROUS_C, units)
        harm = (
            f"{'plants die there' if surely else 'at its worst plants die'}, and cables, drivers "
            f"and fabric are made for less than {limit}: a fire hazard"
        )
    else:
        it = "that is" if failed.best > _TOO_HOT_C else "at its worst it is"
        harm = f"{it} too hot for plants, and warm for what hangs near it"
    return f" Have a thermostat of its own cut the lamp: {harm}."


def _of_the_light(plan: Plan) -> list[Caution]:
    ppfd, hours = plan.ppfd.best, plan.hours_of_light.best
    if hours <= 0.0:
        return []
    daily_mol = ppfd * hours * 3600.0 / 1e6
    light = f"{ppfd:.0f} µmol/m²s for {hours:.3g} h, {daily_mol:.2g} mol/m² a day,"
    if daily_mol < _TOO_DARK_MOL:
        text = "too dark to crop: herbs and greens want 12 to 17 mol/m² a day, fruit more."
    elif daily_mol > _TOO_BRIGHT_MOL:
        text = (
            "more than these crops can use, and may burn them: a smaller or dimmed lamp needs less "
            "air."
        )
    else:
        return []
    return [Caution(Harm.CROP, f"{light} is {text}")]


def _openings_words(rig: Ducting, units: Units) -> str:
    """Intake openings by their area, where that is only assumed."""
    if rig.openings_m2 is not None:
        return "The intake openings"
    assumed_m2 = OPENINGS_OVER_DUCT.best * circle_area_m2(rig.inside_diameter_m)
    return f"Intake openings of {show.opening(assumed_m2, units)}, as assumed,"


def _of_the_run(sizing: Sizing, units: Units) -> list[Caution]:
    point = sizing.delivered
    if point is None:
        return []
    cautions = []
    rig = sizing.plan.rig
    fast_m_s = point.flow_m3_s / circle_area_m2(rig.inside_diameter_m)
    if fast_m_s > _LOUD_M_S:
        cautions.append(
            Caution(
                Harm.COMFORT,
                f"{velocity(fast_m_s, units)} in the duct is loud, as more than "
                f"{velocity(_LOUD_M_S, units)} is (common practice); a wider duct is quieter and "
                "moves more air.",
            )
        )
    openings = rig.system().parts_pa(point.flow_m3_s, sizing.density_kg_per_m3)["openings"]
    if openings > _WALLS_SUCK_IN_PA:
        cautions.append(
            Caution(
                Harm.CROP,
                f"{_openings_words(rig, units)} cost {display.pressure(openings, units)}: the "
                f"walls will be sucked in, as from {display.pressure(_WALLS_SUCK_IN_PA, units)} "
                "on (engineering judgement), and light may leak at the zips. Open more of them.",
            )
        )
    if point.flow_m3_s < leakage_m3_s(sizing.plan, "best"):
        cautions.append(
            Caution(
                Harm.PLAN,
                "The fan moves less than the tent leaks by itself: the duct is nearly shut.",
            )
        )
    return cautions
