"""The ranges that the air functions accept, and the errors that name them."""

from __future__ import annotations

from collections.abc import Callable

T_MIN_C = -100.0
T_MAX_C = 200.0
PRESSURE_MIN_PA = 20_000.0
PRESSURE_MAX_PA = 120_000.0
ELEVATION_MIN_M = -5_000.0
ELEVATION_MAX_M = 11_000.0
# Near 10 kg/kg "air" is all but steam: a bound on nonsense, not on physics.
RATIO_MAX = 10.0

# The air a grower may meet, with room to spare; below boiling anywhere people live.
STATE_T_MIN_C = -60.0
STATE_T_MAX_C = 80.0


class AirRangeError(ValueError):
    """A value outside the range in which what is known of air holds."""


def outside(what: str, value: float, low: float, high: float, unit: str) -> AirRangeError:
    """Build the error for a value outside its range (NaN is always outside)."""
    return AirRangeError(f"{what} must be from {low:g} to {high:g} {unit}, got {value!r}")


def check_pressure(pressure_pa: float) -> None:
    """Raise ValueError unless the total pressure is in range."""
    if not PRESSURE_MIN_PA <= pressure_pa <= PRESSURE_MAX_PA:
        raise outside("pressure", pressure_pa, PRESSURE_MIN_PA, PRESSURE_MAX_PA, "Pa")


def check_ratio(w: float) -> None:
    """Raise ValueError unless the humidity ratio is in range."""
    if not 0.0 <= w <= RATIO_MAX:
        raise outside("humidity ratio", w, 0.0, RATIO_MAX, "kg/kg")


class ImpossibleAirError(ValueError):
    """No air has both of the given quantities, or it is out of range.

    The message says temperatures in °C; `tell` says it in other units.

    Parameters
    ----------
    template : str
        The message, with a named place for each temperature.
    temperatures_c : float
        The temperatures for those places [°C].
    """

    def __init__(self, template: str, **temperatures_c: float) -> None:
        self.template = template
        self.temperatures_c = temperatures_c
        super().__init__(self.tell(lambda t_c: f"{t_c:.4g} °C"))

    def tell(self, say_temperature: Callable[[float], str]) -> str:
        """Word the message, with `say_temperature` writing each temperature [°C]."""
        return self.template.format(
            **{name: say_temperature(t_c) for name, t_c in self.temperatures_c.items()}
        )
