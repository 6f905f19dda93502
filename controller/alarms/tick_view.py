"""What a tick hands to the alarms: the values that tell them, and what those are held to. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from controller.control import Decision, Reading, Reason
from controller.fire_hazard import dangerous_reading_c

if TYPE_CHECKING:
    from controller.alarms.conditions import Condition
    from controller.config import Settings
    from controller.expectation import Judgement


@dataclass(frozen=True, slots=True)
class AlarmLimits:
    """The limits of the analog conditions."""

    heat_c: float
    severe_heat_c: float
    cold_c: float
    high_humidity_pct: float
    severe_humidity_pct: float
    temperature_hysteresis_k: float
    humidity_hysteresis_pct: float
    vpd_hysteresis_pa: float
    dew_point_hysteresis_k: float
    high_co2_ppm: float
    dangerous_c: float

    @classmethod
    def from_settings(cls, settings: Settings) -> AlarmLimits:
        """Derive the limits from a config."""
        alarms, overrides = settings.alarms, settings.overrides
        return cls(
            settings.targets.heat_warning_c,
            alarms.severe_heat_c,
            alarms.cold_c,
            alarms.high_humidity_pct,
            alarms.severe_humidity_pct,
            overrides.temperature.hysteresis_k,
            overrides.humidity.hysteresis_pct,
            overrides.vpd.hysteresis_pa,
            overrides.dew_point.hysteresis_k,
            alarms.high_co2_ppm,
            dangerous_reading_c(settings),
        )


@dataclass(frozen=True, slots=True)
class TickView:
    """The values of a tick that the alarm conditions use.

    Attributes
    ----------
    tent, intake : Reading or None
        Trusted readings; None where there is none.
    decision : Decision
        What was commanded.
    reasons : tuple of Reason
        And why.
    lamp_scheduled : bool
        Whether the lamp is to be lit by its hours.
    lamp_sensed : bool or None
        Whether it is lit; None without a photocell.
    sensor_faults : mapping of str to str
        The faults by the names of the sensors that have one.
    co2_ppm : float or None
        The most carbon dioxide that any sensor shows [ppm]; None where none measures it.
    fan_fault : str or None
        What a tachometer, or a current switch, found.
    rise : Judgement or None
        The tent's rise over its intake air beside the expected one; None where nothing can be said.
    has_less_air : bool
        Whether the alarm `less_air` stands, at times at which nothing can be said too.
    changes : mapping of str to Condition
        What the tent as learned shows to have changed, by the alarms' names.
    broken_devices : tuple of str
        What can't be driven or read: "fan", "lamp", "tachometer".
    record_failing, clock_distrusted, config_rejected : bool
        Faults of the machine around.
    """

    tent: Reading | None
    intake: Reading | None
    decision: Decision
    reasons: tuple[Reason, ...]
    lamp_scheduled: bool
    lamp_sensed: bool | None = None
    sensor_faults: Mapping[str, str] = field(default_factory=dict)
    co2_ppm: float | None = None
    fan_fault: str | None = None
    rise: Judgement | None = None
    has_less_air: bool = False
    changes: Mapping[str, Condition] = field(default_factory=dict)
    broken_devices: tuple[str, ...] = ()
    record_failing: bool = False
    clock_distrusted: bool = False
    config_rejected: bool = False

    @property
    def is_dark(self) -> bool:
        """Whether the lamp is dark: as sensed, or else by its hours and the interlock."""
        if self.lamp_sensed is not None:
            return not self.lamp_sensed
        return not self.lamp_scheduled or self.decision.memory.lamp_is_cut
