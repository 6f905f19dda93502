"""Rehearsing a config: the entry for commands and tests."""

from __future__ import annotations

import time
from math import inf
from typing import TYPE_CHECKING, Literal

from controller.control import Limits, Rules, Wish
from simulators.rehearsal.loop import Progress, RehearsalLoop, tick_rules
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.scene import Scene

if TYPE_CHECKING:
    from collections.abc import Sequence

    from controller.config import Loaded, Settings
    from controller.record import Record
    from simulators.rehearsal.faults import Fault
    from simulators.rehearsal.recorded_errors import RecordedErrors

TICK_S = 60.0

Policy = Literal["config", "schedule_alone", "always_on"]

# Limits that no air can leave.
_NEVER = Limits(
    hot_c=inf,
    humid_pct=inf,
    low_vpd_pa=-inf,
    dew_margin_k=-inf,
    cold_c=-inf,
    dry_pct=-inf,
    high_vpd_pa=inf,
    low_co2_ppm=-inf,
)


def policy_rules(settings: Settings, policy: Policy, tick_s: float = TICK_S) -> Rules:
    """Give the rules of a config, or of doing without them.

    Parameters
    ----------
    settings : Settings
        The tent's.
    policy : {"config", "schedule_alone", "always_on"}
        As configured; the schedule without any override; full speed all the time.
    tick_s : float
        From decision to decision [s].
    """
    rules = tick_rules(settings, tick_s)
    if policy == "config":
        return rules
    rules = rules._replace(day=_NEVER, night=_NEVER)
    if policy == "schedule_alone":
        return rules
    full = Wish(1.0, rules.base[1].rule)
    return rules._replace(base=(full, full, full, full), quiet_speed=None)


def rehearse(
    settings: Settings,
    scene: Scene,
    start_s: float,
    until_s: float,
    *,
    policy: Policy = "config",
    tick_s: float = TICK_S,
    seed: int = 1,
    progress: Progress | None = None,
    judged_by: Settings | None = None,
    errors: RecordedErrors | None = None,
    use_shortcut: bool = True,
) -> Outcome:
    """Rehearse a config in fast-forward: no sleeping, no threads, no files.

    Parameters
    ----------
    settings : Settings
        The tent's.
    scene : Scene
        Fresh, at `start_s`; it is used up.
    start_s, until_s : float
        What to rehearse [Unix s].
    policy : {"config", "schedule_alone", "always_on"}
        See `policy_rules`.
    tick_s : float
        From decision to decision [s].
    seed : int
        Of the sensors' errors; the same seed gives the same outcome.
    progress : callable or None
        Told now and then how far it is [Unix s].
    judged_by : Settings or None
        Whose bands the minutes are counted by; the config's own by default.
    errors : RecordedErrors or None
        What the sensors err by, from a record; the seed draws it by default. With it the bands are
        held against what the sensors read, as those of a record are.
    use_shortcut : bool
        Whether `decide` may be left out while its last answer stands; changes no outcome.

    Returns
    -------
    Outcome
        What was counted.
    """
    began_s = time.perf_counter()
    outcome = Outcome(start_s, until_s, notes=scene.notes)
    RehearsalLoop(
        settings,
        policy_rules(settings, policy, tick_s),
        scene,
        outcome,
        tick_s=tick_s,
        seed=seed,
        errors=errors,
        targets=(judged_by or settings).targets,
        use_shortcut=use_shortcut,
    ).run(progress)
    outcome.wall_s = time.perf_counter() - began_s
    return outcome


def rehearse_fully(
    loaded: Loaded,
    scene: Scene,
    start_s: float,
    until_s: float,
    record: Record,
    *,
    tick_s: float = TICK_S,
    seed: int = 1,
    faults: Sequence[Fault] = (),
    progress: Progress | None = None,
    track: list[tuple[float, float]] | None = None,
) -> Outcome:
    """Rehearse with the daemon's own tick, record and all, and with faults if there are any.

    Parameters
    ----------
    loaded : Loaded
        The config.
    scene, start_s, until_s, tick_s, seed, progress
        As for `rehearse`.
    record : Record
        Where it is recorded; left open.
    faults : sequence of Fault
        What breaks, and when.
    track : list or None
        Given each tick's time [Unix s] and true temperature [°C].

    Returns
    -------
    Outcome
        What was counted; without faults the same as that of `rehearse`, at ticks of half a minute
        and more: with shorter ones a daemon's median spans several ticks.
    """
    from simulators.rehearsal.daemon_loop import FullRehearsal

    began_s = time.perf_counter()
    outcome = Outcome(start_s, until_s, notes=scene.notes)
    full = FullRehearsal(
        loaded, scene, record, outcome, tick_s=tick_s, seed=seed, faults=faults, track=track
    )
    full.run(progress)
    outcome.wall_s = time.perf_counter() - began_s
    return outcome
