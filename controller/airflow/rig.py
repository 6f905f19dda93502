"""The rig of one tent: its fan and its run of duct, with what nobody said taken within limits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from controller.airflow.fans import TWO_POINT_EXPONENT, TWO_POINT_EXPONENT_RANGE, FanCurve
from controller.airflow.fittings import SHARP_ENTRY_K
from controller.airflow.friction import STANDARD_DENSITY_KG_PER_M3, circle_area_m2
from controller.airflow.operating import (
    FAN_EFFICIENCY,
    FAN_EFFICIENCY_RANGE,
    OperatingPoint,
    operating_point,
)
from controller.airflow.span import CASES, OPPOSITE, Assumption, Case, Span
from controller.airflow.system import (
    RIGID_ROUGHNESS_M,
    SLACK_FRICTION_MULTIPLIER,
    STRETCHED_ROUGHNESS_M,
    Duct,
    Filter,
    System,
)

if TYPE_CHECKING:
    from controller.config import Settings

Arrangement = Literal[
    "both_inside", "fan_inside_filter_outside", "filter_inside_fan_outside", "both_outside"
]
ARRANGEMENTS: tuple[Arrangement, ...] = (
    "both_inside",
    "fan_inside_filter_outside",
    "filter_inside_fan_outside",
    "both_outside",
)
DuctKind = Literal["smooth", "flexible_stretched", "flexible_slack"]

_FRICTION: dict[DuctKind, tuple[float, Span]] = {
    "smooth": (RIGID_ROUGHNESS_M, Span.known(1.0)),
    # Nobody pulls it quite tight; a tenth of slack nearly doubles its friction.
    "flexible_stretched": (STRETCHED_ROUGHNESS_M, Span(1.0, 1.0, 1.8)),
    "flexible_slack": (STRETCHED_ROUGHNESS_M, Span(1.5, SLACK_FRICTION_MULTIPLIER, 10.0)),
}

# Duct and bends that an arrangement needs besides the run to where the air goes: a fan that stands
# outside stands half a metre from the port, and with the filter behind it the air turns once more.
EXTRA_LENGTH_M: dict[Arrangement, float] = {
    "both_inside": 0.0,
    "fan_inside_filter_outside": 0.0,
    "filter_inside_fan_outside": 0.5,
    "both_outside": 0.5,
}
EXTRA_BENDS: dict[Arrangement, int] = {
    "both_inside": 0,
    "fan_inside_filter_outside": 0,
    "filter_inside_fan_outside": 0,
    "both_outside": 1,
}
_FILTER_FIRST = ("both_inside", "filter_inside_fan_outside")

DUCT_SIZES_M = (0.100, 0.125, 0.150, 0.200, 0.250, 0.315)
"""Bores that duct, fans and filters are sold in [m]."""

QUIET_M_S = 7.0
"""Air speed up to which a duct stays quiet [m/s] (common practice)."""

PRESSURE_OF_UNKNOWN_FAN_PA = Span(100.0, 250.0, 400.0)
DROP_OF_UNKNOWN_FILTER_PA = Span(30.0, 80.0, 180.0)
FILTER_LOADING = Span(1.0, 1.0, 1.5)
LENGTH_OF_UNKNOWN_DUCT_M = Span(0.5, 1.5, 4.0)
BENDS_OF_UNKNOWN_DUCT = Span(0.0, 1.0, 3.0)
OPENINGS_OVER_DUCT = Span(1.0, 2.0, 4.0)


def quiet_diameter_m(flow_m3_s: float) -> float:
    """Smallest duct sold in which a flow [m³/s] stays quiet [m]; the largest if none does."""
    fitting = (size for size in DUCT_SIZES_M if flow_m3_s <= circle_area_m2(size) * QUIET_M_S)
    return next(fitting, DUCT_SIZES_M[-1])


@dataclass(frozen=True)
class Ducting:
    """Fan, duct, filter and openings as far as they are known; None where nobody said.

    Attributes
    ----------
    free_flow_m3_s, max_pressure_pa : float or None
        The fan's two figures [m³/s], [Pa].
    fan_points : tuple of (float, float)
        Points of its data sheet (flow [m³/s], pressure [Pa]); they rule when there are any.
    fan_power_w : float or None
        Electrical power at full speed [W].
    duct_diameter_m, duct_length_m, bends : float or None
        The run of duct in the arrangement given.
    duct_kind : str
        "smooth", "flexible_stretched" or "flexible_slack".
    has_filter : bool
        Whether there is a carbon filter.
    filter_drop_pa, filter_flow_m3_s : float or None
        Its pressure drop [Pa] at a flow [m³/s].
    openings_m2 : float or None
        Free area of the intake openings together [m²].
    arrangement : str
        Where fan and filter stand.
    design_flow_m3_s : float or None
        Flow that fan and duct are still to be bought for [m³/s]; sizes an unknown duct.
    """

    free_flow_m3_s: float | None = None
    max_pressure_pa: float | None = None
    fan_points: tuple[tuple[float, float], ...] = ()
    fan_power_w: float | None = None
    duct_diameter_m: float | None = None
    duct_length_m: float | None = None
    bends: int | None = None
    duct_kind: DuctKind = "flexible_stretched"
    has_filter: bool = False
    filter_drop_pa: float | None = None
    filter_flow_m3_s: float | None = None
    openings_m2: float | None = None
    arrangement: Arrangement = "both_inside"
    design_flow_m3_s: float | None = None

    @classmethod
    def from_settings(cls, settings: Settings) -> Ducting:
        """What a config says of fan and duct."""
        fan, duct = settings.fan, settings.duct
        rig = cls(
            free_flow_m3_s=fan.free_flow_m3_s or None,
            max_pressure_pa=fan.max_pressure_pa or None,
            fan_points=fan.curve or (),
            fan_power_w=fan.power_w or None,
        )
        if duct is None:
            return rig
        openings = None
        if duct.intake is not None:
            each = duct.intake.area_m2
            if each is None and duct.intake.diameter_m is not None:
                each = circle_area_m2(duct.intake.diameter_m)
            openings = each * duct.intake.openings if each else None
        return replace(
            rig,
            duct_diameter_m=duct.diameter_m or None,
            duct_length_m=duct.length_m,
            bends=duct.bends,
            duct_kind=duct.kind,
            has_filter=duct.filter is not None,
            filter_drop_pa=duct.filter.pressure_drop_pa if duct.filter else None,
            filter_flow_m3_s=(duct.filter.flow_m3_s or None) if duct.filter else None,
            openings_m2=openings,
            arrangement=duct.arrangement,
        )

    @property
    def has_fan(self) -> bool:
        """Whether anything is known of what the fan moves."""
        return bool(self.fan_points) or self.free_flow_m3_s is not None

    @property
    def nominal_flow_m3_s(self) -> float | None:
        """The fan's free flow [m³/s], None when unknown."""
        if self.fan_points:
            return FanCurve.from_points(self.fan_points).free_flow_m3_s
        return self.free_flow_m3_s

    @cached_property
    def inside_diameter_m(self) -> float:
        """Inside diameter of the duct [m]; unknown, the size sold that fits the fan or flow."""
        if self.duct_diameter_m is not None:
            return self.duct_diameter_m
        return quiet_diameter_m(self.nominal_flow_m3_s or self.design_flow_m3_s or 0.0)

    def curve(self, case: Case = "best") -> FanCurve:
        """The fan's curve; `low` is the weakest it could be.

        Raises
        ------
        ValueError
            When nothing is known of what the fan moves.
        """
        if self.fan_points:
            return FanCurve.from_points(self.fan_points)
        if self.free_flow_m3_s is None:
            raise ValueError("the fan's free flow is not known")
        exponents = Span(
            TWO_POINT_EXPONENT_RANGE[0], TWO_POINT_EXPONENT, TWO_POINT_EXPONENT_RANGE[1]
        )
        pressure = self.max_pressure_pa or PRESSURE_OF_UNKNOWN_FAN_PA.at(case)
        return FanCurve.from_two_points(self.free_flow_m3_s, pressure, exponents.at(case))

    def system(self, case: Case = "best", arrangement: Arrangement | None = None) -> System:
        """What the fan must overcome; `high` resists the most.

        Parameters
        ----------
        case : str
            "low", "best" or "high" resistance.
        arrangement : str or None
            Another place for fan and filter; the duct is lengthened or shortened for it.
        """
        place = arrangement or self.arrangement
        roughness, multiplier = _FRICTION[self.duct_kind]
        duct = Duct(
            diameter_m=self.inside_diameter_m,
            length_m=max(0.0, self.duct_length(case) + self._extra(EXTRA_LENGTH_M, place)),
            bends=max(0.0, self.bend_count(case) + self._extra(EXTRA_BENDS, place)),
            roughness_m=roughness,
            friction_multiplier=multiplier.at(case),
        )
        filter_first = self.has_filter and place in _FILTER_FIRST
        return System(
            duct=duct,
            filter=self._filter(case) if self.has_filter else None,
            entry_k=0.0 if filter_first else SHARP_ENTRY_K,
            openings_m2=self._openings(case),
        )

    def duct_length(self, case: Case = "best") -> float:
        """Length of the run in the arrangement given [m]."""
        if self.duct_length_m is None:
            return LENGTH_OF_UNKNOWN_DUCT_M.at(case)
        return self.duct_length_m

    def bend_count(self, case: Case = "best") -> float:
        """Number of 90° bends in the arrangement given."""
        return BENDS_OF_UNKNOWN_DUCT.at(case) if self.bends is None else float(self.bends)

    def point(
        self,
        speed: float = 1.0,
        density_kg_per_m3: float = STANDARD_DENSITY_KG_PER_M3,
        case: Case = "best",
        arrangement: Arrangement | None = None,
    ) -> OperatingPoint:
        """Operating point; in the `low` case a weak fan meets a clogged run.

        The fan's power is taken as it was given, by the cube of the speed: as in a rehearsal, a
        review and a year's energy. Nobody says at what density it was read.
        """
        point = operating_point(
            self.curve(case), self.system(OPPOSITE[case], arrangement), speed, density_kg_per_m3
        )
        return point._replace(power_w=(self.power_w("best") or 0.0) * speed**3)

    def power_w(self, case: Case = "best") -> float | None:
        """Electrical power at full speed [W]; None when neither it nor the fan is known."""
        if self.fan_power_w is not None:
            return self.fan_power_w
        if not self.has_fan:
            return None
        efficiency = Span(FAN_EFFICIENCY_RANGE[0], FAN_EFFICIENCY, FAN_EFFICIENCY_RANGE[1])
        return self.curve("best").greatest_air_power_w / efficiency.at(OPPOSITE[case])

    def _filter(self, case: Case) -> Filter:
        if self.filter_drop_pa is not None and self.filter_flow_m3_s is not None:
            drop = self.filter_drop_pa * FILTER_LOADING.at(case)
            return Filter.at_rated_flow(drop, self.filter_flow_m3_s)
        # A filter is sold for a flow that moves about 6 m/s through its collar.
        rated = self.filter_flow_m3_s or 6.0 * circle_area_m2(self.inside_diameter_m)
        drop = self.filter_drop_pa or DROP_OF_UNKNOWN_FILTER_PA.at(case)
        return Filter.at_rated_flow(drop, rated)

    def _openings(self, case: Case) -> float:
        if self.openings_m2 is not None:
            return self.openings_m2
        return OPENINGS_OVER_DUCT.at(OPPOSITE[case]) * circle_area_m2(self.inside_diameter_m)

    def _extra(
        self, table: dict[Arrangement, float] | dict[Arrangement, int], place: Arrangement
    ) -> float:
        return float(table[place] - table[self.arrangement])

    def assumptions(self) -> tuple[Assumption, ...]:
        """What is taken for granted because it is not known."""
        return tuple(self._assumed_of_fan() + self._assumed_of_run())

    def _assumed_of_fan(self) -> list[Assumption]:
        assumed = []
        if self.has_fan and not self.fan_points:
            if self.max_pressure_pa is None:
                assumed.append(
                    Assumption(
                        "fan's top pressure",
                        PRESSURE_OF_UNKNOWN_FAN_PA,
                        "pressure",
                        "small in-line fans, common practice",
                        "fan.max_pressure or --max-pressure",
                    )
                )
            assumed.append(
                Assumption(
                    "fan curve's exponent",
                    Span(
                        TWO_POINT_EXPONENT_RANGE[0], TWO_POINT_EXPONENT, TWO_POINT_EXPONENT_RANGE[1]
                    ),
                    "number",
                    "between its two ends: 1 a straight line, 2 a parabola; engineering judgement",
                    "fan.curve or --fan-point, read off the data sheet",
                )
            )
        low, best, high = (self.power_w(case) for case in CASES)
        if self.fan_power_w is None and low is not None and best is not None and high is not None:
            assumed.append(
                Assumption(
                    "fan's power",
                    Span(low, best, high),
                    "power",
                    "its air power at 15 to 40 % efficiency, from memory",
                    "fan.power or --fan-power",
                )
            )
        return assumed

    def _assumed_of_run(self) -> list[Assumption]:
        judgement = "engineering judgement"
        assumed = []
        if self.duct_diameter_m is None:
            assumed.append(
                Assumption(
                    "inside diameter of the duct",
                    Span.known(self.inside_diameter_m),
                    "length",
                    "the size sold that keeps the air under 7 m/s, if one does",
                    "duct.diameter or --duct-diameter",
                )
            )
        if self.duct_length_m is None:
            assumed.append(
                Assumption(
                    "length of the duct",
                    LENGTH_OF_UNKNOWN_DUCT_M,
                    "length",
                    judgement,
                    "duct.length or --duct-length",
                )
            )
        if self.bends is None:
            assumed.append(
                Assumption(
                    "number of 90° bends",
                    BENDS_OF_UNKNOWN_DUCT,
                    "number",
                    judgement,
                    "duct.bends or --bends",
                )
            )
        multiplier = _FRICTION[self.duct_kind][1]
        if not multiplier.is_known:
            assumed.append(
                Assumption(
                    "friction, as hung ×",
                    multiplier,
                    "number",
                    "over duct pulled tight; Abushakra et al. 2004",
                    "--duct-kind",
                )
            )
        if self.has_filter:
            assumed.append(
                Assumption(
                    "filter, when loaded ×",
                    FILTER_LOADING,
                    "number",
                    "over its clean drop, engineering judgement",
                    "",
                )
            )
        if self.has_filter and self.filter_drop_pa is None:
            assumed.append(
                Assumption(
                    "filter's rated drop",
                    DROP_OF_UNKNOWN_FILTER_PA,
                    "pressure",
                    "common practice",
                    "duct.filter or --filter-drop",
                )
            )
        if self.openings_m2 is None:
            assumed.append(
                Assumption(
                    "intake openings",
                    OPENINGS_OVER_DUCT.times(circle_area_m2(self.inside_diameter_m)),
                    "opening",
                    "1 to 4 times the duct's, common practice",
                    "duct.intake or --intake-area",
                )
            )
        return assumed
