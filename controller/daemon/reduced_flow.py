"""The fall of the fan's flow that the newest learning found, as the record keeps it. Pure.

It is kept beside the tent it was found in: with another fan, duct or filter in the config, nothing
is known of it any more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from controller.alarms.conditions import HOLDS, Condition
from controller.daemon.tent_change import days_of

STATE_KEY = "flow.reduced"
"""The key under which it is saved."""


def saved_fall(fall: object, tent_digest: str, reference: object = None) -> dict[str, Any]:
    """What the record keeps of a night: `fall` since the reference week, None without one."""
    return {"fall": fall, "tent": tent_digest, "compared_with": days_of(reference)}


def standing_fall(saved: object, tent_digest: str) -> Mapping[str, Condition]:
    """A fall that stands, as the condition of the alarm `reduced_flow`; see `flow_share`."""
    share = flow_share(saved, tent_digest)
    if share is None:
        return {}
    assert isinstance(saved, dict)
    compared_with = str(saved.get("compared_with", ""))
    return {"reduced_flow": HOLDS._replace(share=share, compared_with=compared_with)}


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
