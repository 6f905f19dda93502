"""The ranges that the air functions accept, and the error that names them."""

from __future__ import annotations

T_MIN_C = -100.0
T_MAX_C = 200.0
PRESSURE_MIN_PA = 20_000.0
PRESSURE_MAX_PA = 120_000.0
ELEVATION_MIN_M = -5_000.0
ELEVATION_MAX_M = 11_000.0
# Near 10 kg/kg "air" is all but steam: a bound on nonsense, not on physics.
RATIO_MAX = 10.0


def outside(what: str, value: float, low: float, high: float, unit: str) -> ValueError:
    """Build the error for a value outside its range (NaN is always outside)."""
    return ValueError(f"{what} must be from {low:g} to {high:g} {unit}, got {value!r}")


def check_pressure(pressure_pa: float) -> None:
    """Raise ValueError unless the total pressure is in range."""
    if not PRESSURE_MIN_PA <= pressure_pa <= PRESSURE_MAX_PA:
        raise outside("pressure", pressure_pa, PRESSURE_MIN_PA, PRESSURE_MAX_PA, "Pa")


def check_ratio(w: float) -> None:
    """Raise ValueError unless the humidity ratio is in range."""
    if not 0.0 <= w <= RATIO_MAX:
        raise outside("humidity ratio", w, 0.0, RATIO_MAX, "kg/kg")
