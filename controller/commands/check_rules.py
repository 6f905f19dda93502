"""What each override of a config will do, worked out as the decision works it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from controller import display
from controller.control import OVERRIDES, OverrideKind, Quantity, Rules
from controller.kernel_sensors import measures_co2
from controller.wording import quantity_words, rule_words

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.display import Units

Phase = Literal["day", "night"]


@dataclass(frozen=True, slots=True)
class OverrideRow:
    """One override in one phase.

    Attributes
    ----------
    phase : {"day", "night"}
        Lamp lit or dark.
    kind : OverrideKind
        What is compared, and on which side of its limit it engages.
    limit, release : float
        Engage and release thresholds, in the override's unit.
    delay_s : float
        How long past the limit before it acts [s].
    speed : float
        The speed it asks for, 0-1, as the motor will be given it.
    has_intake : bool
        Whether an intake sensor can tell that outside air would not help.
    is_modulated : bool
        Whether the modulating law chooses the speed, up to this one.
    """

    phase: Phase
    kind: OverrideKind
    limit: float
    release: float
    delay_s: float
    speed: float
    has_intake: bool
    is_modulated: bool

    def engages(self, units: Units) -> str:
        """When it engages, such as "above 24.0 °C"; after its delay."""
        limit = quantity_words(self.limit, self.kind.unit, units)
        if self.kind.quantity is Quantity.DEW_POINT:
            return f"surface within {limit} of dew point"
        name = {Quantity.VPD: "VPD ", Quantity.CO2: "CO2 "}.get(self.kind.quantity, "")
        return f"{name}{'above' if self.kind.side > 0 else 'below'} {limit}"

    def waits(self) -> str:
        """How long it waits, such as "for 1 min"."""
        return f"for {display.duration(self.delay_s)}" if self.delay_s else "at once"

    def acts(self) -> str:
        """What it does, such as "fan at 100 %"; the least or the most, by its side."""
        if self.kind.raises:
            if self.is_modulated:
                return f"fan up to {display.speed(self.speed)}"
            return display.fan(self.speed)
        return f"{display.speed(self.speed)} at most" if self.speed else "fan off"

    def releases(self, units: Units) -> str:
        """When it lets go, such as "until below 23.0 °C"."""
        release = quantity_words(self.release, self.kind.unit, units)
        if self.kind.quantity is Quantity.DEW_POINT:
            return f"until {release} clear"
        return f"until {'below' if self.kind.side > 0 else 'above'} {release}"

    def locked_out(self) -> str | None:
        """What locks it out; None where nothing can tell."""
        if not self.has_intake or self.is_modulated:
            return None
        if self.kind.quantity is Quantity.CO2:
            return "the intake air has no more CO2 than the tent's"
        by_warmth = self.kind.quantity is Quantity.TEMPERATURE
        if self.kind.raises:
            return f"the intake air is no {'cooler' if by_warmth else 'drier'} than the tent's"
        return (
            f"the intake air is {'warmer' if by_warmth else 'moister'} than the tent's by the "
            "hysteresis"
        )

    def to_json(self, units: Units) -> dict[str, Any]:
        """The row in SI, and as a sentence in the user's units."""
        rule = rule_words(self.kind.rule)
        return {
            "phase": self.phase,
            "rule": self.kind.rule.value,
            "quantity": self.kind.quantity.value,
            "engages": "above" if self.kind.side > 0 else "below",
            "limit": self.limit,
            "release": round(self.release, 6),
            "unit": self.kind.unit,
            "delay_s": self.delay_s,
            "speed": self.speed,
            "modulated": self.is_modulated,
            "locked_out_while": self.locked_out(),
            "text": f"{rule}: {self.engages(units)} {self.waits()}: {self.acts()}, "
            f"{self.releases(units)}",
        }


def override_rows(settings: Settings) -> list[OverrideRow]:
    """Every override by day, then by night, in the order of priority."""
    rules = Rules.from_settings(settings)
    has_intake = any(sensor.role == "intake" for sensor in settings.sensors)
    has_co2, has_intake_co2 = (measures_co2(settings, role) for role in ("tent", "intake"))
    rows = []
    phases: tuple[tuple[Phase, tuple[float, ...]], ...] = (
        ("day", rules.day),
        ("night", rules.night),
    )
    for phase, limits in phases:
        for kind, limit, hysteresis, delay_s, speed in zip(
            OVERRIDES, limits, rules.hystereses, rules.delays_s, rules.speeds, strict=True
        ):
            is_co2 = kind.quantity is Quantity.CO2
            if is_co2 and not (has_co2 and phase == "day"):
                continue
            rows.append(
                OverrideRow(
                    phase,
                    kind,
                    limit=limit,
                    release=limit - kind.side * hysteresis,
                    delay_s=delay_s,
                    speed=max(speed, rules.min_speed) if speed > 0.0 else 0.0,
                    has_intake=has_intake_co2 if is_co2 else has_intake,
                    is_modulated=rules.modulation is not None and kind.is_forecast,
                )
            )
    return rows


def failsafe_row(settings: Settings) -> dict[str, Any]:
    """What happens without a trusted reading, in SI and as a sentence."""
    failsafe = settings.failsafe
    return {
        "stale_after_s": failsafe.stale_after_s,
        "speed": failsafe.speed,
        "text": f"no trusted reading from the tent for {display.duration(failsafe.stale_after_s)}: "
        f"{display.fan(failsafe.speed)}",
    }
