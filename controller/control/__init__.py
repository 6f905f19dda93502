"""The decision: which speed, and why."""

from controller.control.decide import Decision, decide
from controller.control.lamp_interlock import LampCut
from controller.control.memory import Memory, Ramp
from controller.control.override_state import (
    CALM,
    OVERRIDES,
    OverrideKind,
    OverrideState,
    compared_value,
    surface_c,
)
from controller.control.reasons import reasons
from controller.control.thresholds import Limits, Rules, Wish
from controller.control.transitions import Transition, engagements, transitions
from controller.control.types import (
    Hold,
    Now,
    Quantity,
    Reading,
    Readings,
    Reason,
    ReasonStatus,
    Rule,
)

__all__ = [
    "CALM",
    "OVERRIDES",
    "Decision",
    "Hold",
    "LampCut",
    "Limits",
    "Memory",
    "Now",
    "OverrideKind",
    "OverrideState",
    "Quantity",
    "Ramp",
    "Reading",
    "Readings",
    "Reason",
    "ReasonStatus",
    "Rule",
    "Rules",
    "Transition",
    "Wish",
    "compared_value",
    "decide",
    "engagements",
    "reasons",
    "surface_c",
    "transitions",
]
