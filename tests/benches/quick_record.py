"""Records of rehearsed tents without the daemon's own tick: twenty times as fast, for long benches.

The decisions are the daemon's; the rows have what models are made from, and no events.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from controller.config import Settings
from controller.record import ReadingRow
from simulators.rehearsal.counts import FanUse
from simulators.rehearsal.loop import RehearsalLoop
from simulators.rehearsal.outcome import Outcome, Trajectory
from simulators.rehearsal.recorded import RecordedAir
from simulators.rehearsal.rehearse import policy_rules
from simulators.rehearsal.scene import Scene
from simulators.rehearsal.senses import sense

TICK_S = 60.0


class LoggedFan(FanUse):
    """A fan's use that keeps its speeds, each with how long it lasted [s]."""

    def __init__(self) -> None:
        super().__init__()
        self.runs: list[tuple[float, float]] = []

    def run(self, speed: float, power_w: float, for_s: float) -> None:
        """Count a stretch, and keep it."""
        self.runs.append((speed, for_s))
        super().run(speed, power_w, for_s)

    def minutes(self) -> Iterator[float]:
        """The speed in each tick; it changes at ticks only."""
        for speed, for_s in self.runs:
            for _ in range(round(for_s / TICK_S)):
                yield speed


class LoggedOutcome(Outcome):
    """An outcome that keeps the tent's states and when the lamp was lit."""

    def __init__(self, start_s: float, until_s: float) -> None:
        super().__init__(start_s, until_s)
        self.fan = LoggedFan()
        self.states: list[tuple[float, float, bool]] = []

    def count(self, states: Trajectory, *args: Any, **kwargs: Any) -> None:
        """Count states, and keep them."""
        pairs = zip(states.air_c, states.humidity_pct, strict=True)
        self.states += [(air_c, pct, states.by_day) for air_c, pct in pairs]
        super().count(states, *args, **kwargs)


def quick_record(
    settings: Settings, scene: Scene, again: RecordedAir, start_s: float, until_s: float, seed: int
) -> list[ReadingRow]:
    """What a daemon would have recorded.

    Parameters
    ----------
    settings : Settings
        The config's.
    scene : Scene
        Fresh, at `start_s`; used up.
    again : RecordedAir
        The scene's intake air once more, at its beginning.
    start_s, until_s : float
        When [Unix s].
    seed : int
        Of the sensors' errors.
    """
    outcome = LoggedOutcome(start_s, until_s)
    before = scene.tent.air_c, scene.tent.humidity_pct, False
    RehearsalLoop(
        settings,
        policy_rules(settings, "config"),
        scene,
        outcome,
        tick_s=TICK_S,
        seed=seed,
        targets=settings.targets,
    ).run(None)
    assert isinstance(outcome.fan, LoggedFan)
    looks = [sense(settings, role, seed, TICK_S) for role in ("tent", "intake")]
    # What was seen at the start of a tick is of the state at the end of the one before.
    seen = [before, *outcome.states[:-1]]
    rows = []
    for tick, (state, (_, _, lit), speed) in enumerate(
        zip(seen, outcome.states, outcome.fan.minutes(), strict=True)
    ):
        at_s, now_s = start_s + tick * TICK_S, tick * TICK_S
        if at_s >= again.until_s:
            again.go_on(at_s)
        past_s = at_s - again.from_s
        outside = (
            again.air_c + again.air_c_s * past_s,
            again.humidity_pct + again.humidity_pct_s * past_s,
        )
        here, there = (
            None if look is None else look(now_s, *air)
            for look, air in zip(looks, (state[:2], outside), strict=True)
        )
        rows.append(
            ReadingRow(
                at_ms=round(1000.0 * (at_s + TICK_S)),
                interval_s=TICK_S,
                tent_temperature_c=here and here[1],
                tent_humidity_pct=here and here[2],
                intake_temperature_c=there and there[1],
                intake_humidity_pct=there and there[2],
                fan_speed=speed,
                fan_on_s=TICK_S if speed > 0.0 else 0.0,
                lamp_on=lit,
                lamp_on_s=TICK_S if lit else 0.0,
                in_fan_hours=lit,
                rule="schedule",
            )
        )
    return rows
