"""The decision: which speed, and why."""

from controller.decision.compared import surface_c, watched_value
from controller.decision.decide import Decision, decide
from controller.decision.memory import LampCut, Memory, Ramp
from controller.decision.reasons import reasons
from controller.decision.rules import Limits, Rules, Wish
from controller.decision.transitions import Transition, engagements, transitions
from controller.decision.types import (
    Hold,
    Now,
    Quantity,
    Reading,
    Readings,
    Reason,
    Rule,
    Standing,
)
from controller.decision.watches import CALM, WATCHES, Watch, WatchKind

__all__ = [
    "CALM",
    "WATCHES",
    "Decision",
    "Hold",
    "LampCut",
    "Limits",
    "Memory",
    "Now",
    "Quantity",
    "Ramp",
    "Reading",
    "Readings",
    "Reason",
    "Rule",
    "Rules",
    "Standing",
    "Transition",
    "Watch",
    "WatchKind",
    "Wish",
    "decide",
    "engagements",
    "reasons",
    "surface_c",
    "transitions",
    "watched_value",
]
