"""What is known of a tent that is being planned, and what must be assumed of the rest."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from controller import air, envelope, plants
from controller.airflow.rig import Ducting
from controller.airflow.span import Assumption, Case, Span
from controller.sizing.quiet_shares import QuietShares, quiet_shares

if TYPE_CHECKING:
    from controller.config import Settings

RoomKind = Literal["room", "cellar", "closet", "attic"]

# Temperature [°C] and relative humidity [%] of the air a tent draws in, engineering judgement: the
# months in which a tent is hard to cool.
ROOM_TEMPERATURE_C: dict[RoomKind, Span] = {
    "room": Span(18.0, 20.0, 23.0),
    "cellar": Span(13.0, 16.0, 19.0),
    "closet": Span(19.0, 21.0, 25.0),
    "attic": Span(17.0, 24.0, 33.0),
}
ROOM_HUMIDITY_PCT: dict[RoomKind, Span] = {
    "room": Span(35.0, 50.0, 60.0),
    "cellar": Span(50.0, 65.0, 80.0),
    "closet": Span(35.0, 50.0, 65.0),
    "attic": Span(30.0, 45.0, 60.0),
}
ROOM_CO2_PPM = Span(400.0, 420.0, 800.0)
"""Outdoor air has about 425 ppm (2024); a room with people more, which only helps the plants."""

LOWEST_CO2_PPM = 350.0
LIT_HOURS = Span(12.0, 16.0, 18.0)
LEAF_AREA_INDEX = Span(0.0, 1.5, 3.0)
LEAF_AREA_SPREAD = (0.5, 2.0)
EFFICACY = Span(1.6, plants.LAMP_EFFICACY, 3.0)
BOUNDARY_CONDUCTANCE = Span.around(plants.BOUNDARY_CONDUCTANCE, *plants.BOUNDARY_CONDUCTANCE_RANGE)
INFILTRATION_PER_H = Span(0.5, 1.5, 5.0)
"""Air changes an hour that a tent leaks with its fan at rest (engineering judgement)."""

MOTOR_HEAT_INTO_TENT = Span(0.02, 0.10, 0.30)
"""Share of the heat of a fan inside the tent that its casing gives to the tent. The rest leaves
with the air that cools the motor (engineering judgement: a casing of 0.1 m² half a kelvin warmer
than the tent gives off half a watt; clips and electronics outside the stream give more)."""


@dataclass(frozen=True)
class Plan:
    """A tent, its lamp, fan, crop, room and wishes; None where nobody said.

    Attributes
    ----------
    width_m, depth_m, height_m, elevation_m : float
        The tent, inside [m].
    lamp_power_w : float
        The lamp [W].
    lit_hours : float or None
        Hours of light a day [h].
    pre_run_s, run_on_s : float
        Fan start before and stop after the light [s].
    day_speed, night_speed : float
        Speeds of the schedule (0–1).
    purge : tuple of (float, float, float) or None
        (every [s], length [s], speed) of a purge.
    is_relay : bool
        Whether the fan only knows on and off.
    min_speed : float
        Lowest speed at which it turns.
    rig : Ducting
        Fan and duct.
    crop_kind : str or None
        What grows.
    leaf_area_m2, plant_count, stage : float, int, str or None
        How much of it.
    light_ppfd : float or None
        Light over the canopy, measured [µmol m⁻² s⁻¹].
    room_kind : str
        Where the intake air comes from.
    intake_c, intake_humidity_pct, intake_co2_ppm : float or None
        The intake air [°C], [%], [ppm].
    day_c, night_c, day_humidity_pct, night_humidity_pct : tuple of (float, float)
        The bands [°C], [%].
    lowest_co2_ppm : float
        Lowest CO2 wished [ppm].
    minutes_per_change : float
        Of the trade's rule [min].
    price_per_kwh : float or None
        Price of power.
    currency : str
        Its currency.
    quiet : QuietShares or None
        What quiet hours leave of the schedule.
    """

    width_m: float
    depth_m: float
    height_m: float
    lamp_power_w: float
    elevation_m: float = 0.0
    lit_hours: float | None = None
    pre_run_s: float = 900.0
    run_on_s: float = 900.0
    day_speed: float = 1.0
    night_speed: float = 0.0
    purge: tuple[float, float, float] | None = None
    is_relay: bool = False
    min_speed: float = 0.2
    rig: Ducting = field(default_factory=Ducting)
    crop_kind: str | None = None
    leaf_area_m2: float | None = None
    plant_count: int | None = None
    stage: str | None = None
    light_ppfd: float | None = None
    room_kind: RoomKind = "room"
    intake_c: float | None = None
    intake_humidity_pct: float | None = None
    intake_co2_ppm: float | None = None
    day_c: tuple[float, float] = (21.1, 23.9)
    night_c: tuple[float, float] = (15.6, 23.9)
    day_humidity_pct: tuple[float, float] = (40.0, 70.0)
    night_humidity_pct: tuple[float, float] = (40.0, 80.0)
    lowest_co2_ppm: float = LOWEST_CO2_PPM
    minutes_per_change: float = 3.0
    price_per_kwh: float | None = None
    currency: str = "EUR"
    quiet: QuietShares | None = None

    def __post_init__(self) -> None:
        """Refuse a tent without room or a day without end."""
        for name in ("width_m", "depth_m", "height_m"):
            if not 0.0 < getattr(self, name) <= 100.0:
                raise ValueError(
                    f"{name.removesuffix('_m')} of the tent must be above 0 and at most 100 m, "
                    f"got {getattr(self, name)!r}"
                )
        if self.lit_hours is not None and not 0.0 <= self.lit_hours <= 24.0:
            raise ValueError(f"hours of light must be 0 to 24, got {self.lit_hours!r}")
        if not 1.0 <= self.minutes_per_change <= 5.0:
            raise ValueError(
                f"time for an air change must be 1 to 5 minutes, got {self.minutes_per_change:g}"
            )

    @classmethod
    def from_settings(cls, settings: Settings) -> Plan:
        """What a config says."""
        tent, schedule, targets = settings.tent, settings.schedule, settings.targets
        purge = schedule.purge
        crop = settings.crop
        plan = cls(
            width_m=tent.width_m,
            depth_m=tent.depth_m,
            height_m=tent.height_m,
            elevation_m=tent.elevation_m,
            lamp_power_w=settings.lamp.power_w,
            lit_hours=settings.lamp.photoperiod.hours,
            pre_run_s=schedule.pre_run_s,
            run_on_s=schedule.run_on_s,
            day_speed=schedule.day_speed,
            night_speed=schedule.night_speed,
            purge=(purge.every_s, purge.length_s, purge.speed) if purge else None,
            is_relay=settings.fan.drive == "relay",
            min_speed=settings.fan.resolved_min_speed,
            rig=Ducting.from_settings(settings),
            room_kind=settings.room.kind,
            day_c=(targets.day.temperature_c.low, targets.day.temperature_c.high),
            night_c=(targets.night.temperature_c.low, targets.night.temperature_c.high),
            day_humidity_pct=(targets.day.humidity_pct.low, targets.day.humidity_pct.high),
            night_humidity_pct=(targets.night.humidity_pct.low, targets.night.humidity_pct.high),
            price_per_kwh=settings.energy.price_per_kwh,
            currency=settings.energy.currency,
            quiet=quiet_shares(settings),
        )
        if crop is None:
            return plan
        return replace(
            plan,
            crop_kind=crop.kind,
            leaf_area_m2=crop.leaf_area_m2,
            plant_count=crop.plants,
            stage=crop.stage,
        )

    @property
    def volume_m3(self) -> float:
        """Volume of the tent [m³]."""
        return self.width_m * self.depth_m * self.height_m

    @property
    def floor_m2(self) -> float:
        """Floor area of the tent [m²]."""
        return self.width_m * self.depth_m

    @cached_property
    def pressure_pa(self) -> float:
        """Atmospheric pressure at the tent's elevation [Pa]."""
        return air.pressure_at_elevation_pa(self.elevation_m)

    @property
    def traits(self) -> plants.CropTraits:
        """What the crop's leaves can do."""
        return plants.crop_traits(self.crop_kind or "other")

    @cached_property
    def hours_of_light(self) -> Span:
        """Hours of light a day [h]."""
        return LIT_HOURS if self.lit_hours is None else Span.known(self.lit_hours)

    @property
    def is_never_dark(self) -> bool:
        """Whether the lamp is always lit, so that there is no night to speak of."""
        return self.hours_of_light.low >= 24.0

    @cached_property
    def leaves_m2(self) -> Span:
        """Leaf area [m²]."""
        if self.leaf_area_m2 is not None:
            return Span.known(self.leaf_area_m2)
        if self.plant_count is None:
            return LEAF_AREA_INDEX.times(self.floor_m2)
        kind, low, high = self.crop_kind or "other", *LEAF_AREA_SPREAD
        if self.stage is not None:
            best = plants.leaf_area_of_plants_m2(kind, self.plant_count, self.stage)
            return Span(low * best, best, high * best)
        areas = [
            plants.leaf_area_of_plants_m2(kind, self.plant_count, stage)
            for stage in ("seedling", "flowering", "fruiting")
        ]
        return Span(low * areas[0], areas[1], max(areas[1], high * areas[2]))

    @cached_property
    def ppfd(self) -> Span:
        """Light over the canopy [µmol m⁻² s⁻¹]."""
        if self.light_ppfd is not None:
            return Span.known(self.light_ppfd)
        return EFFICACY.times(plants.lamp_ppfd(self.lamp_power_w, self.floor_m2, 1.0))

    def leaf_ppfd(self, case: Case) -> float:
        """Light on the average leaf [µmol m⁻² s⁻¹], in the case of light and leaf area."""
        return plants.mean_leaf_ppfd(self.ppfd.at(case), self.leaves_m2.at(case), self.floor_m2)

    @cached_property
    def intake_temperature_c(self) -> Span:
        """Temperature of the intake air [°C]."""
        given = self.intake_c
        return ROOM_TEMPERATURE_C[self.room_kind] if given is None else Span.known(given)

    @cached_property
    def intake_rh_pct(self) -> Span:
        """Relative humidity of the intake air [%]."""
        given = self.intake_humidity_pct
        return ROOM_HUMIDITY_PCT[self.room_kind] if given is None else Span.known(given)

    @cached_property
    def intake_ppm(self) -> Span:
        """CO2 of the intake air [ppm]."""
        given = self.intake_co2_ppm
        return ROOM_CO2_PPM if given is None else Span.known(given)

    @cached_property
    def wall_ua(self) -> Span:
        """Heat through walls and roof [W/K]."""
        size = (self.width_m, self.depth_m, self.height_m)
        low, high = (envelope.wall_ua_w_per_k(*size, u) for u in envelope.WALL_U_RANGE)
        return Span(low, envelope.wall_ua_w_per_k(*size), high)

    @property
    def fan_is_inside(self) -> bool:
        """Whether the fan hangs in the tent."""
        return self.rig.arrangement in ("both_inside", "fan_inside_filter_outside")

    def fan_heat_in_tent_w(self, speed: float, case: Case) -> float:
        """Heat of the fan that stays in the tent [W] at a speed."""
        power = self.rig.power_w(case)
        if power is None or not self.fan_is_inside:
            return 0.0
        return power * speed**3 * MOTOR_HEAT_INTO_TENT.at(case)

    def assumptions(self) -> tuple[Assumption, ...]:
        """Everything taken for granted because nobody said it."""
        return tuple(self._assumed()) + self.rig.assumptions()

    def _assumed(self) -> list[Assumption]:
        judged = "engineering judgement"
        where = {
            "room": "a heated or cooled room",
            "cellar": "a cellar",
            "closet": "a closet",
            "attic": "an attic",
        }[self.room_kind]
        assumed = [
            Assumption(
                "fabric's heat loss",
                Span(
                    envelope.WALL_U_RANGE[0], envelope.WALL_U_W_PER_M2_K, envelope.WALL_U_RANGE[1]
                ),
                "transmittance",
                "films of air, ISO 6946; less with a shiny lining, more in stirred air",
                "",
            )
        ]
        if self.intake_c is None:
            assumed.append(
                Assumption(
                    "intake temperature",
                    self.intake_temperature_c,
                    "temperature",
                    f"{where}, {judged}",
                    "--intake-temperature",
                )
            )
        if self.intake_humidity_pct is None:
            assumed.append(
                Assumption(
                    "intake humidity",
                    self.intake_rh_pct,
                    "humidity",
                    f"{where}, {judged}",
                    "--intake-humidity",
                )
            )
        if self.intake_co2_ppm is None:
            assumed.append(
                Assumption(
                    "intake CO2",
                    self.intake_ppm,
                    "co2",
                    "outdoor air to a room with people",
                    "--intake-co2",
                )
            )
        if self.lit_hours is None:
            assumed.append(
                Assumption(
                    "hours of light a day",
                    self.hours_of_light,
                    "number",
                    "common practice",
                    "--lit",
                )
            )
        if self.fan_is_inside and self.rig.has_fan:
            assumed.append(
                Assumption(
                    "motor heat to tent",
                    MOTOR_HEAT_INTO_TENT,
                    "share",
                    f"share of it, {judged}",
                    "",
                )
            )
        leak = INFILTRATION_PER_H.times(self.volume_m3 / 3600.0)
        assumed.append(
            Assumption(
                "leakage, fan at rest", leak, "flow", f"0.5 to 5 air changes an hour, {judged}", ""
            )
        )
        assumed.extend(self._assumed_of_crop())
        return assumed

    def _assumed_of_crop(self) -> list[Assumption]:
        assumed = []
        if self.leaf_area_m2 is None:
            of_plants = (
                "from bare floor to a dense canopy"
                if self.plant_count is None
                else "typical plants kept small, half to twice"
            )
            assumed.append(
                Assumption(
                    "leaf area",
                    self.leaves_m2,
                    "area",
                    f"{of_plants}; engineering judgement",
                    "crop.leaf_area or --leaf-area",
                )
            )
        if self.light_ppfd is None and self.lamp_power_w > 0.0:
            assumed.append(
                Assumption(
                    "light over the canopy",
                    self.ppfd,
                    "light",
                    "1.6 to 3.0 µmol/J of which 85 % arrive, common practice",
                    "--light",
                )
            )
        if self.leaves_m2.high > 0.0:
            assumed.append(
                Assumption(
                    "leaves' air film",
                    BOUNDARY_CONDUCTANCE,
                    "conductance",
                    "its conductance to vapour, both sides, in air that moves at 0.1 to 1 m/s; "
                    "Campbell & Norman 1998, from memory",
                    "",
                )
            )
        return assumed
