"""Rehearsals: the daemon's decisions on a simulated tent, a season in seconds."""

from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.rehearse import TICK_S, Policy, rehearse, rehearse_fully
from simulators.rehearsal.scene import Scene, scene_in, set_scene

__all__ = [
    "TICK_S",
    "Outcome",
    "Policy",
    "Scene",
    "rehearse",
    "rehearse_fully",
    "scene_in",
    "set_scene",
]
