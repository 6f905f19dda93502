"""The root of a function that falls through nothing once. Pure, standard library only."""

from __future__ import annotations

from collections.abc import Callable


def falling_root(
    function: Callable[[float], float], low: float, high: float, tolerance: float = 0.0
) -> float:
    """Root of a falling function in [low, high]; the nearer end when it has none inside.

    Parameters
    ----------
    function : callable
        Continuous and falling.
    low, high : float
        Where to look, low < high.
    tolerance : float
        How far from the root the answer may be; 0 asks for the last bit.

    References
    ----------
    Chandrupatla, T. R. (1997), Adv. Eng. Softw. 28:145: bisection, or inverse quadratic
    interpolation where that is sure to help.
    """
    f_low = function(low)
    if f_low <= 0.0:
        return low
    f_high = function(high)
    if f_high >= 0.0:
        return high
    # a: the newest point; b: the end across the root; c: the one before.
    a, b, f_a, f_b = high, low, f_high, f_low
    share = 0.5
    for _ in range(200):
        x = a + share * (b - a)
        if x in (a, b):
            break
        f_x = function(x)
        if (f_x > 0.0) == (f_a > 0.0):
            c, f_c = a, f_a
        else:
            c, f_c, b, f_b = b, f_b, a, f_a
        a, f_a = x, f_x
        width = abs(b - a)
        if f_a == 0.0 or width <= tolerance:
            break
        share = _interpolated(a, b, c, f_a, f_b, f_c)
        # Never closer to an end than what is asked for, so that both ends close in.
        least = min(0.5, max(tolerance, abs(a) * 2e-16) / width)
        share = min(1.0 - least, max(least, share))
    return a if abs(f_a) <= abs(f_b) else b


def _interpolated(a: float, b: float, c: float, f_a: float, f_b: float, f_c: float) -> float:
    """Share of the way from a to b at which to look next."""
    xi = (a - b) / (c - b)
    phi = (f_a - f_b) / (f_c - f_b)
    if phi * phi < xi and (1.0 - phi) ** 2 < 1.0 - xi:
        return f_a / (f_b - f_a) * f_c / (f_b - f_c) + (c - a) / (b - a) * f_a / (
            f_c - f_a
        ) * f_b / (f_c - f_b)
    return 0.5
