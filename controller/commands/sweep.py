"""`lungwort sweep`: one config with its figures varied, and the best trade-offs marked."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import HelpPage, add_config
from controller.commands.compare import headings, row, row_json, star_lines
from controller.commands.progress import ProgressBar
from controller.commands.rehearsed_days import add_days, span
from controller.commands.sweep_values import KNOBS, Knob, Value, grid
from controller.tables import table_lines, terminal_width, wrapped

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.rehearsal import Outcome
    from simulators.rehearsal.choice import Preference
    from simulators.rehearsal.workers import SharedDays

SWEEP_HELP = "vary pre-run, run-on, speeds, hysteresis or worth, and mark the best trade-offs"
SWEEP_DESCRIPTION = """\
Rehearse one config over and over with some of its figures varied, every
combination, on every core. Prints the trade-offs that no other combination
beats; --all prints every one. Give each option a list with commas; what you
don't give stays as configured. Without any option, a small grid of pre-run, day
speed and hysteresis is tried.
"""
SWEEP_EPILOG = """\
examples:
  lungwort sweep config/chillies.yaml --from 2013-07-15 --days 7
  lungwort sweep config/chillies.yaml --day-speed 40%,60%,80% \\
      --hysteresis "0.5 K,1 K,2 K" --weather airfield-2013 \\
      --from 2013-05-01 --days 120
  lungwort sweep config/chillies.yaml --law modulating,fixed
  lungwort sweep config/chillies.yaml --worth "20 W/K,60 W/K,180 W/K"
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "sweep",
        help=SWEEP_HELP,
        description=SWEEP_DESCRIPTION,
        epilog=SWEEP_EPILOG,
        formatter_class=HelpPage,
    )
    add_config(parser)
    for knob in KNOBS:
        parser.add_argument(f"--{knob.option}", metavar="LIST", help=knob.help)
    add_days(parser)
    parser.add_argument("--all", action="store_true", help="print every combination")
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    parser.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class _Swept:
    """What came of every combination.

    Attributes
    ----------
    settings : Settings
        As configured.
    knobs : list of Knob
        What was varied.
    combinations : list of tuple
        Their values, by combination.
    configs : list of Settings
        With these.
    outcomes : list of Outcome
        Of these.
    is_best : list of bool
        Whether no other combination beats it.
    chosen : Preference
        Which one to take.
    idle : list of Knob
        Those that change nothing a model can tell.
    """

    settings: Settings
    knobs: list[Knob]
    combinations: list[tuple[Value, ...]]
    configs: list[Settings]
    outcomes: list[Outcome]
    is_best: list[bool]
    chosen: Preference
    idle: list[Knob]

    @property
    def order(self) -> list[int]:
        """The combinations by their harm, the least first."""
        return sorted(range(len(self.configs)), key=lambda i: self.outcomes[i].harm)

    @property
    def verdict(self) -> str:
        """Which to take, and what makes no difference."""
        if not self.idle:
            return self.chosen.text
        words = " and ".join(_words(knob) for knob in self.idle)
        return f"{self.chosen.text} Nothing to choose in {words}: a model can tell no difference."


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.config import load_settings
    from simulators.rehearsal.summary import days_words
    from simulators.rehearsal.workers import SharedDays

    settings = load_settings(args.config).settings
    knobs, combinations = grid(args, settings)
    weather, first, start_s, until_s = span(settings, args.weather, args.first, args.days)
    swept = _sweep(settings, knobs, combinations, SharedDays(weather, start_s, until_s, args.seed))
    if args.json:
        print(json.dumps(_as_json(swept), ensure_ascii=False, indent=2))
        return 0
    width, count = terminal_width(), len(combinations)
    head = (
        f"{settings.tent.name}: {count} combination{'s' if count > 1 else ''}, "
        f"{days_words(first, args.days)}, weather {weather.name}."
    )
    print("\n".join([*wrapped(head, width), "", *_as_text(swept, width, show_all=args.all)]))
    return 0


def _sweep(
    settings: Settings, knobs: list[Knob], combinations: list[tuple[Value, ...]], days: SharedDays
) -> _Swept:
    from simulators.rehearsal.choice import choice
    from simulators.rehearsal.compare import merits, unbeaten
    from simulators.rehearsal.workers import rehearse_all

    configs = []
    for combination in combinations:
        config = settings
        for knob, value in zip(knobs, combination, strict=True):
            config = knob.put(config, value)
        configs.append(config)
    with ProgressBar((days.until_s - days.start_s) * len(configs), in_days=True) as bar:
        outcomes = rehearse_all(configs, days, progress=bar.show)
    labels = [_label(knobs, combination, settings) for combination in combinations]
    chosen = choice(outcomes, labels, configs)
    is_best = unbeaten([merits(outcome) for outcome in outcomes])
    idle = [] if chosen.alike else _idle(knobs, combinations, outcomes)
    return _Swept(settings, knobs, combinations, configs, outcomes, is_best, chosen, idle)


def _as_json(swept: _Swept) -> dict[str, Any]:
    rows = [
        {
            **{k.key: v for k, v in zip(swept.knobs, swept.combinations[i], strict=True)},
            **row_json(swept.outcomes[i], swept.configs[i], swept.is_best[i]),
        }
        for i in swept.order
    ]
    values = zip(swept.knobs, swept.combinations[swept.chosen.best], strict=True)
    verdict = swept.chosen.to_json() | {
        "text": swept.verdict,
        "best": {knob.key: value for knob, value in values},
        "without_effect": [knob.key for knob in swept.idle],
    }
    return {"verdict": verdict, "combinations": rows}


def _as_text(swept: _Swept, width: int, *, show_all: bool) -> list[str]:
    settings, knobs, chosen = swept.settings, swept.knobs, swept.chosen
    shown = [i for i in swept.order if show_all or swept.is_best[i]]
    if chosen.alike and not show_all:
        shown = [chosen.best]
    rows = [
        row(
            _texts(knobs, swept.combinations[i], settings),
            swept.outcomes[i],
            swept.configs[i],
            settings,
            swept.is_best[i],
        )
        for i in shown
    ]
    keys = headings(settings, *map(_words, knobs))
    lines = [*wrapped(swept.verdict, width), ""]
    lines += table_lines(keys, rows, width, align=">" * len(keys), keys=len(knobs) + 1)
    lines += ["", *star_lines(settings, width)]
    for note in _raised(knobs, swept.combinations, settings):
        lines += wrapped(note, width, rest="  ")
    left_out = len(swept.configs) - len(shown)
    if left_out:
        is_single = left_out == 1
        why = ("comes" if is_single else "come") + " out alike" if chosen.alike else "others beat"
        count = "1 combination" if is_single else f"{left_out} combinations"
        is_out = "is" if is_single else "are"
        lines += wrapped(f"{count} that {why} {is_out} left out; --all shows all.", width)
    return lines


def _words(knob: Knob) -> str:
    return knob.option.replace("-", " ")


def _texts(knobs: list[Knob], values: tuple[Value, ...], settings: Settings) -> list[str]:
    return [_shown(knob, value, settings) for knob, value in zip(knobs, values, strict=True)]


def _label(knobs: list[Knob], values: tuple[Value, ...], settings: Settings) -> str:
    """Such as "pre run 15 min, hysteresis 1.0 K"."""
    texts = _texts(knobs, values, settings)
    return ", ".join(f"{_words(k)} {text}" for k, text in zip(knobs, texts, strict=True))


def _idle(
    knobs: list[Knob], combinations: list[tuple[Value, ...]], outcomes: list[Outcome]
) -> list[Knob]:
    """Figures that change nothing a model can tell, whatever the others are."""
    from simulators.rehearsal.compare import are_alike

    idle = []
    for index, knob in enumerate(knobs):
        groups: dict[tuple[Value, ...], list[Outcome]] = {}
        for values, outcome in zip(combinations, outcomes, strict=True):
            groups.setdefault(values[:index] + values[index + 1 :], []).append(outcome)
        if all(len(group) > 1 and are_alike(group) for group in groups.values()):
            idle.append(knob)
    return idle


def _raised(
    knobs: list[Knob], combinations: list[tuple[Value, ...]], settings: Settings
) -> list[str]:
    """Speeds that the motor cannot do, and what it runs at instead."""
    from controller import display

    least = settings.fan.resolved_min_speed
    impossible = {
        (knob.option, value)
        for combination in combinations
        for knob, value in zip(knobs, combination, strict=True)
        if isinstance(value, float) and knob.is_commanded and 0.0 < value < least
    }
    return [
        f"--{option} {display.speed(value)} is run at {display.speed(least)}, the fan's min_speed."
        for option, value in sorted(impossible)
    ]


def _shown(knob: Knob, value: Value, settings: Settings) -> str:
    from controller import display

    return value if isinstance(value, str) else display.quantity(value, knob.kind, settings.units)
