"""The fall of the fan's flow that the newest learning found, as the record keeps it. Pure.

It is kept beside the tent it was found in: with another fan, duct or filter in the config, nothing
is known of it any more.
"""

from __future__ import annotations

import math
from typing import Any

STATE_KEY = "flow.reduced"
"""The key under which it is saved."""


def saved_fall(fall: object, tent_digest: str) -> dict[str, Any]:
    """What the record keeps of a night: `fall` as learned, None where there is none."""
    return {"fall": fall, "tent": tent_digest}


def flow_share(saved: object, tent_digest: str) -> float | None:
    """What the fan moves over what it usually did; None where no fall of this tent's stands.

    Parameters
    ----------
    saved : object
        What the record has under `STATE_KEY`, of whatever version.
    tent_digest : str
        Of the config in force.

    Returns
    -------
    float or None
        Above 0 and below 1.
    """
    if not isinstance(saved, dict) or saved.get("tent") != tent_digest:
        return None
    try:
        share = float(saved["fall"]["now"]) / float(saved["fall"]["usual"])
    except (KeyError, TypeError, ValueError, OverflowError, ZeroDivisionError):
        return None
    return share if math.isfinite(share) and 0.0 < share < 1.0 else None
