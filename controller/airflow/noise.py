"""How much quieter a fan is at a lower speed."""

from __future__ import annotations

import math


def sound_level_change_db(speed_ratio: float) -> float:
    """Change of the sound level of one fan on one duct, when only its speed changes.

    Parameters
    ----------
    speed_ratio : float
        Speed over that which it is compared with, above 0.

    Returns
    -------
    float
        Level change [dB]; negative where it turns more slowly.

    Raises
    ------
    ValueError
        At a ratio of 0 or less: a fan at rest makes no sound, which no level tells.

    Notes
    -----
    50 lg(n₂/n₁): the fan sound law of ANSI/AMCA Standard 301-14 for one size and density, also in
    the chapter on noise and vibration control of ASHRAE Handbook HVAC Applications 2019 (both from
    memory). It is of the fan's own air noise; a motor that whines or a grille that hums may differ.
    """
    if not speed_ratio > 0.0:
        raise ValueError(f"a speed ratio must be above 0, got: {speed_ratio}")
    return 50.0 * math.log10(speed_ratio)
