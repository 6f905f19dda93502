"""Several configs on the same days, on every core; and which of them no other beats."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import TYPE_CHECKING

from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.rehearse import rehearse
from simulators.rehearsal.scene import set_scene

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.weather import Weather

# What every process of the pool knows: set once in each.
_SHARED: dict[str, object] = {}


def _share(weather: Weather, start_s: float, until_s: float, seed: int) -> None:
    _SHARED.update(weather=weather, start_s=start_s, until_s=until_s, seed=seed)


def _one(number: int, settings: Settings, judged_by: Settings) -> tuple[int, Outcome]:
    weather: Weather = _SHARED["weather"]  # type: ignore[assignment]
    start_s, until_s, seed = (_SHARED[key] for key in ("start_s", "until_s", "seed"))
    scene = set_scene(settings, weather, start_s)  # type: ignore[arg-type]
    outcome = rehearse(
        settings,
        scene,
        start_s,  # type: ignore[arg-type]
        until_s,  # type: ignore[arg-type]
        seed=seed,  # type: ignore[arg-type]
        judged_by=judged_by,
    )
    return number, outcome


def rehearse_all(
    configs: Sequence[Settings],
    weather: Weather,
    start_s: float,
    until_s: float,
    *,
    seed: int = 1,
    judged_by: Settings | None = None,
    processes: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> list[Outcome]:
    """Rehearse configs side by side.

    Parameters
    ----------
    configs : sequence of Settings
        What to rehearse.
    weather, start_s, until_s, seed
        The days, the same for all, and the sensors' errors.
    judged_by : Settings or None
        Whose bands are counted by; each config's own by default.
    processes : int or None
        How many at a time; as many as there are cores by default.
    progress : callable or None
        Told how many are done.

    Returns
    -------
    list of Outcome
        In the order of the configs; the same whatever the number of processes.
    """
    outcomes: list[Outcome | None] = [None] * len(configs)
    for done, (number, outcome) in enumerate(
        _outcomes(configs, (weather, start_s, until_s, seed), judged_by, processes), 1
    ):
        outcomes[number] = outcome
        if progress is not None:
            progress(done)
    return [outcome for outcome in outcomes if outcome is not None]


def _outcomes(
    configs: Sequence[Settings],
    days: tuple[Weather, float, float, int],
    judged_by: Settings | None,
    processes: int | None,
) -> Iterator[tuple[int, Outcome]]:
    processes = min(processes or os.cpu_count() or 1, len(configs))
    if processes <= 1:
        _share(*days)
        for number, settings in enumerate(configs):
            yield _one(number, settings, judged_by or settings)
        return
    with ProcessPoolExecutor(processes, initializer=_share, initargs=days) as pool:
        waiting = [
            pool.submit(_one, number, settings, judged_by or settings)
            for number, settings in enumerate(configs)
        ]
        try:
            for future in as_completed(waiting):
                yield future.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def out_of_band_share(outcome: Outcome) -> float:
    """Share of the time out of band, the mean of temperature, humidity and VPD."""
    return 1.0 - outcome.share_within


def merits(outcome: Outcome) -> tuple[float, float, float]:
    """What a config is weighed by, less being better: time out of band, energy, fan starts.

    Rounded to half a percent of the time, 10 Wh and one start a day: a model can't tell finer.
    """
    days = (outcome.until_s - outcome.start_s) / 86_400.0
    return (
        round(out_of_band_share(outcome) * 200.0) / 200.0,
        round(outcome.fan.energy_kwh / days, 2),
        float(round(outcome.fan.starts / days)),
    )


def unbeaten(points: Sequence[tuple[float, ...]]) -> list[bool]:
    """Say of each point whether no other is at least as good in everything and better in something.

    Parameters
    ----------
    points : sequence of tuple of float
        Shape (n, m); less is better.

    Returns
    -------
    list of bool
        Shape (n,); True for the non-dominated ones.
    """
    return [not any(_beats(other, point) for other in points) for point in points]


def _beats(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return all(a <= b for a, b in zip(one, other, strict=True)) and one != other
