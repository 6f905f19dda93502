"""Learning where the model is wrong: what a config does not know acts on the tent.

See `learning_unmodelled.sh`. Each tent is as its config says but for what was put into it, taken
out of it, opened or set up around it. Five days are learned from. A figure that is said to be
learned and whose 90 % interval ends more than a tenth short of the truth is a confident lie; a
refusal, or a figure that is said to be unknown, is none. Leaves are not judged: some are changed
half-way.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

HERE = Path(__file__).resolve().parent
RESULT = HERE / "results" / "learning_unmodelled.json"
sys.path += [str(HERE.parent / "expectation"), str(HERE.parent / "learning")]

from learning_records import CONFIG, USUAL, Act, Source, lived, nothing  # noqa: E402
from tent_bodies import random_tent  # noqa: E402

from controller.config import settings_from_text  # noqa: E402
from controller.learning.learn import CannotLearnError, learn  # noqa: E402
from controller.learning.parameters import configured  # noqa: E402
from controller.tent_physics import TentPhysics  # noqa: E402

SEEDS = (3, 5)
DAYS = 5.0
JUDGED = ("wall_w_per_k", "contents_j_per_k", "contents_w_per_k", "flow_share", "leakage_m3_s")
# Beyond its interval by so much, as a factor.
BEYOND = 1.1
EVAPORATES_J_KG = 2.45e6


class Case(NamedTuple):
    """What acts on a tent of so many watts of lamp: a source, or an act by the hours lived."""

    source: Callable[[float], Source] = lambda lamp_w: nothing
    acts: Callable[[float], Callable[[float], Act]] = lambda lamp_w: lambda hours: USUAL


def _heat(share: float, on: Callable[[float, bool], bool]) -> Case:
    return Case(lambda lamp_w: lambda hour, lit, pct: (share * lamp_w * on(hour, lit), 0.0))


def _water(
    kg_s_per_kw: float, on: Callable[[float, bool, float], bool], motor: float = 0.0
) -> Case:
    """Vapour with the heat that it takes or gives; the machine's own is a share of the lamp's."""

    def source(lamp_w: float) -> Source:
        water = kg_s_per_kw * lamp_w / 1000.0
        heat = motor * lamp_w - EVAPORATES_J_KG * water
        return lambda hour, lit, pct: (heat, water) if on(hour, lit, pct) else (0.0, 0.0)

    return Case(source)


def _act(on: Callable[[float], bool], **act: float) -> Case:
    return Case(acts=lambda lamp_w: lambda hours: Act(**act) if on(hours) else USUAL)


def _open(from_h: float, until_h: float, per_kw: float) -> Case:
    def acts(lamp_w: float) -> Callable[[float], Act]:
        opened = Act(opened_m3_s=per_kw * lamp_w / 1000.0)
        return lambda hours: opened if from_h <= hours % 24.0 < until_h else USUAL

    return Case(acts=acts)


CASES = {
    "nothing": Case(),
    "a heater by night": _heat(0.3, lambda hour, lit: not lit),
    "a second lamp by day": _heat(0.5, lambda hour, lit: 10.0 <= hour < 15.0),
    "a second lamp, same hours, 0.2": _heat(0.2, lambda hour, lit: lit),
    "a second lamp, same hours, 0.5": _heat(0.5, lambda hour, lit: lit),
    "a humidifier, always": _water(1e-4, lambda hour, lit, pct: True),
    "a humidifier with the lamp": _water(1e-4, lambda hour, lit, pct: lit),
    "a humidifier below 60 %": _water(2e-4, lambda hour, lit, pct: pct < 60.0),
    "a dehumidifier above 55 %": _water(-1e-4, lambda hour, lit, pct: pct > 55.0, 0.2),
    "a dehumidifier by night": _water(-5e-5, lambda hour, lit, pct: not lit, 0.2),
    "plants taken out half-way": _act(lambda hours: hours > 12.0 * DAYS, leaves=0.05),
    "plants doubled half-way": _act(lambda hours: hours > 12.0 * DAYS, leaves=2.0),
    "a door open an hour a day": _open(17.0, 18.0, 0.3),
    "a door open six hours a day": _open(12.0, 18.0, 0.1),
    "walls 3 K warmer while cooled air comes in": _act(
        lambda hours: 10.0 <= hours % 24.0 < 18.0, walls_k=3.0
    ),
    "walls 3 K colder": _act(lambda hours: True, walls_k=-3.0),
    "lamp dimmed to 0.7 half-way": _act(lambda hours: hours > 12.0 * DAYS, lamp=0.7),
    "a sensor half a kelvin off from half-way on": _act(
        lambda hours: hours > 12.0 * DAYS, drift_k=0.5
    ),
}


def body(seed: int) -> str:
    """The tests' tent, then random ones of 0.2 to 20 m³."""
    if seed == 0:
        return CONFIG
    purge = "purge: {every: 2 h, length: 5 min, speed: 100 %}"
    return random_tent(seed).replace("schedule: {", f"schedule: {{{purge}, ")


def tried(seed: int, name: str) -> dict[str, Any]:
    """What came of one tent in one case."""
    text, case = body(seed), CASES[name]
    lamp_w = settings_from_text(text).settings.lamp.power_w
    settings, rows = lived(text, DAYS, case.source(lamp_w), acts=case.acts(lamp_w))
    found: dict[str, Any] = {"tent": seed, "case": name}
    try:
        learned = learn(settings, rows)
    except CannotLearnError as error:
        return {**found, "refused": error.message[:60]}
    true = configured(TentPhysics.from_settings(settings))
    known = {key: learned.parameters[key] for key in JUDGED if learned.parameters[key].is_learned}
    lies = {}
    for key, figure in known.items():
        truth = getattr(true, key)
        if not figure.low / BEYOND <= truth <= figure.high * BEYOND:
            lies[key] = [round(x / truth, 3) for x in (figure.low, figure.value, figure.high)]
    misfit = [round(value, 3) for value in learned.misfit]
    return {**found, "learned": len(known), "lies": lies, "misfit": misfit}


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--cases", nargs="*", default=list(CASES))
    args = parser.parse_args()
    seeds = (0,) if args.short else (0, *SEEDS)
    cases = args.cases[:3] if args.short else args.cases
    results = []
    with ProcessPoolExecutor() as pool:
        jobs = [pool.submit(tried, seed, name) for seed in seeds for name in cases]
        for job in jobs:
            results.append(job.result())
            print(json.dumps(results[-1], ensure_ascii=False), flush=True)
    summary = {}
    for name in cases:
        those = [one for one in results if one["case"] == name]
        fitted = [one for one in those if "refused" not in one]
        summary[name] = {
            "tents": len(those),
            "refused": len(those) - len(fitted),
            "figures": sum(one["learned"] for one in fitted),
            "lies": sum(len(one["lies"]) for one in fitted),
        }
    print(json.dumps(summary, indent=1, ensure_ascii=False))
    figures = sum(one["figures"] for one in summary.values())
    share = sum(one["lies"] for one in summary.values()) / max(1, figures)
    print(f"{share:.1%} of {figures} figures said with confidence were not so")
    if not args.short and len(cases) == len(CASES):
        result = {
            "bench": "learning_unmodelled",
            "date": dt.datetime.now(dt.UTC).date().isoformat(),
            "cases": summary,
            "each": results,
        }
        RESULT.write_text(json.dumps(result, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return 0 if share <= 0.1 else 1


if __name__ == "__main__":
    raise SystemExit(main())
