"""How near a config comes to the bound, in words, as a table and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from controller import display
from controller.tables import table_lines, wrapped
from simulators.rehearsal.bound.frontier import Bound, BoundRun
from simulators.rehearsal.bound.stages import STAGE_S
from simulators.rehearsal.counts import QUANTITIES
from simulators.rehearsal.outcome import Outcome

if TYPE_CHECKING:
    from controller.config import Settings

# What no model can tell, a day: harm, and energy [kWh].
_HARM_A_DAY, _KWH_A_DAY = 0.5, 0.002


class Nearness(NamedTuple):
    """How near an outcome is to the bound.

    Attributes
    ----------
    harm_ratio : float or None
        Its harm to the least that its energy buys; None where even that is next to nothing.
    energy_ratio : float or None
        Its energy to the least that keeps to its harm; None where that is next to nothing.
    best_kwh : float or None
        That least energy [kWh].

    Notes
    -----
    All are None where the lamp was cut for heat: no fan does that.
    """

    harm_ratio: float | None
    energy_ratio: float | None
    best_kwh: float | None


def nearness(bound: Bound, outcome: Outcome) -> Nearness:
    """Hold an outcome against the bound."""
    if outcome.lamp_cut_min:
        return Nearness(None, None, None)
    days = (outcome.until_s - outcome.start_s) / 86_400.0
    energy_kwh, harm = outcome.fan.energy_kwh, outcome.harm
    least_harm = bound.harm_at(energy_kwh)
    least_kwh = bound.energy_at(harm)
    # The best of a grid may be worse than a lucky run: nearer than near is near.
    best_kwh = energy_kwh if least_kwh is None else min(energy_kwh, least_kwh)
    return Nearness(
        max(1.0, harm / least_harm) if least_harm > _HARM_A_DAY * days else None,
        energy_kwh / best_kwh if best_kwh > _KWH_A_DAY * days else None,
        best_kwh,
    )


def nearness_words(bound: Bound, outcome: Outcome) -> str:
    """Say in a sentence or two how near an outcome is to the bound.

    Parameters
    ----------
    bound : Bound
        The bound of the same days.
    outcome : Outcome
        What came of the config.
    """
    if outcome.lamp_cut_min:
        return (
            f"The bound never cuts the lamp. For this config it was cut for heat for "
            f"{display.hours_and_minutes(outcome.lamp_cut_min)}, which makes the tent cooler than "
            "any fan could, so that their comfort is not compared."
        )
    near = nearness(bound, outcome)
    days = (outcome.until_s - outcome.start_s) / 86_400.0
    took = display.energy(outcome.fan.energy_kwh)
    if near.harm_ratio is None and outcome.harm <= _HARM_A_DAY * days:
        comfort = "the air hardly left its bands"
    elif near.harm_ratio is None:
        comfort = "a fan that knew the weather would hardly have let the air out of its bands"
    elif near.harm_ratio < 1.005:
        comfort = "comfort as the best that any fan could do with its energy"
    else:
        comfort = (
            "comfort as the best that any fan could do with its energy, "
            f"within {_percent(near.harm_ratio - 1.0)}"
        )
    words = f"How near this config comes to the bound: {comfort}. "
    if near.energy_ratio is None:
        return words + f"It took {took}; the same comfort was to be had for next to nothing."
    if near.energy_ratio < 1.02:
        return words + f"It took {took}, no more than it takes."
    assert near.best_kwh is not None
    return words + (
        f"It took {took}; the same comfort was to be had for {display.energy(near.best_kwh)}: "
        f"{near.energy_ratio:.1f} × its energy."
    )


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %" if share >= 0.0095 else f"{100.0 * share:.1f} %"


def bound_lines(bound: Bound, outcome: Outcome, settings: Settings, width: int) -> list[str]:
    """What `lungwort rehearse --bound` prints below the outcome."""
    units = settings.units
    alone_kwh = outcome.schedule_alone.energy_kwh
    words = nearness_words(bound, outcome)
    least_kwh = _KWH_A_DAY * (outcome.until_s - outcome.start_s) / 86_400.0
    # A cold tent is given less than scheduled: then its schedule explains nothing.
    if least_kwh < alone_kwh < outcome.fan.energy_kwh:
        words += f" Its fan hours and purges alone ask {display.energy(alone_kwh)}."

    def row(name: str, run_outcome: Outcome) -> list[str]:
        return [
            name,
            display.energy(run_outcome.fan.energy_kwh),
            f"{run_outcome.harm:.{0 if run_outcome.harm >= 100 else 1}f}",
            display.temperature(run_outcome.peak.value, units),
            str(run_outcome.fan.starts),
        ]

    rows = [row(_run_words(run, settings), run.outcome) for run in bound.runs]
    rows.append(row("this config", outcome))
    headings = ["Best by the worth of a degree", "energy", "harm", "hottest", "starts"]
    return [
        "",
        *wrapped(words, width),
        "",
        *table_lines(headings, rows, width),
        "",
        *wrapped(_HARM_WORDS, width, rest="  "),
        *wrapped(_METHOD_WORDS, width, rest="  "),
    ]


def _run_words(run: BoundRun, settings: Settings) -> str:
    if run.worth_w_per_k == 0.0:
        return "fan at rest"
    return display.power_per_kelvin(run.worth_w_per_k, settings.units)


_HARM_WORDS = (
    "Harm is what the air strays from its bands, for how long: K·h + 0.1 × %·h + 3 × kPa·h."
)
_METHOD_WORDS = (
    "The bound knows the weather in advance and chooses a speed for each "
    f"{display.duration(STAGE_S)} by dynamic programming on this tent's own model; each row was "
    "replayed in the simulated tent, so there is such a run. It is the best of a grid: by a "
    "percent or so a better one may exist. It keeps no fan hours, purges or minimum times, and "
    "doesn't count CO2, moving air or the heat warning."
)


def bound_json(bound: Bound, outcome: Outcome) -> dict[str, Any]:
    """The bound, and how near an outcome is to it, as JSON."""
    near = nearness(bound, outcome)
    return {
        "text": nearness_words(bound, outcome),
        "harm_ratio": None if near.harm_ratio is None else round(near.harm_ratio, 6),
        "energy_ratio": None if near.energy_ratio is None else round(near.energy_ratio, 6),
        "least_energy_kwh": None if near.best_kwh is None else round(near.best_kwh, 6),
        "stage_s": STAGE_S,
        "runs": [
            {
                "worth_w_per_k": run.worth_w_per_k,
                "energy_kwh": round(run.energy_kwh, 6),
                "harm": round(run.harm, 6),
                "excess": {q: run.outcome.minutes(q).excess_json(q) for q in QUANTITIES},
                "peak_temperature_c": round(run.outcome.peak.value, 4),
                "fan_starts": run.outcome.fan.starts,
                "speed_changes": run.outcome.speed_changes,
            }
            for run in bound.runs
        ],
    }
