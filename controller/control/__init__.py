"""The decision: which speed, and why."""

from controller.control.decide import Decision, decide
from controller.control.memory import LampCut, Memory, Ramp
from controller.control.override_state import CALM, WATCHES, OverrideKind, OverrideState
from controller.control.override_values import surface_c, watched_value
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
    Rule,
    Standing,
)

__all__ = [
    "CALM",
    "WATCHES",
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
    "Rule",
    "Rules",
    "Standing",
    "Transition",
    "Wish",
    "decide",
    "engagements",
    "reasons",
    "surface_c",
    "transitions",
    "watched_value",
]
