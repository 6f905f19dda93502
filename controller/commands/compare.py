"""`lungwort compare`: several configs on the same days, side by side."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import HelpPage
from controller.commands.progress import ProgressBar
from controller.commands.rehearsed_days import add_days, span
from controller.errors import UserError
from controller.tables import table_lines, terminal_width, wrapped

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.rehearsal import Outcome

COMPARE_HELP = "rehearse several configs on the same days, side by side"
COMPARE_DESCRIPTION = """\
Rehearse several configs on the same simulated days and put what comes of them
side by side: how far out of band and for how long, hottest moment, fan, energy.
A star marks those that no other beats: none does less harm without more energy
or more fan starts. Each config is held against its own bands. With --laws each is
rehearsed twice: with modulated speeds and with fixed ones (overrides.law).
"""
COMPARE_EPILOG = """\
examples:
  lungwort compare config/chillies.yaml faster.yaml --from 2013-07-15 --days 7
  lungwort compare *.yaml --weather airfield-2013 --from 2013-06-01 --days 90
  lungwort compare config/chillies.yaml --laws
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "compare",
        help=COMPARE_HELP,
        description=COMPARE_DESCRIPTION,
        epilog=COMPARE_EPILOG,
        formatter_class=HelpPage,
    )
    parser.add_argument(
        "configs", metavar="CONFIG", nargs="+", type=Path, help="the configs, two or more"
    )
    parser.add_argument(
        "--laws",
        action="store_true",
        help="each config with modulated and with fixed speeds; one config is enough",
    )
    add_days(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.config import load_settings
    from simulators.rehearsal.choice import choice
    from simulators.rehearsal.compare import merits, unbeaten
    from simulators.rehearsal.summary import days_words
    from simulators.rehearsal.workers import SharedDays, rehearse_all

    if len(args.configs) < 2 and not args.laws:
        raise UserError(
            "compare takes two configs or more, to put them side by side; for one alone: "
            f"lungwort rehearse {args.configs[0]}, or with --laws under both laws",
            status=2,
        )
    paths, names = args.configs, _names(args.configs)
    configs = [load_settings(path).settings for path in paths]
    if args.laws:
        configs = [_under(law, settings) for settings in configs for law in _LAWS]
        names = [f"{name}, {law}" for name in names for law in _LAWS]
        paths = [path for path in paths for _ in _LAWS]
    weather, first, start_s, until_s = span(configs[0], args.weather, args.first, args.days)
    with ProgressBar((until_s - start_s) * len(configs), in_days=True) as bar:
        outcomes = rehearse_all(
            configs, SharedDays(weather, start_s, until_s, args.seed), progress=bar.show
        )
    best = unbeaten([merits(outcome) for outcome in outcomes])
    chosen = choice(outcomes, names, configs)
    if args.json:
        rows = [
            {"config": str(path), "law": _law(settings), **row_json(outcome, settings, is_best)}
            for path, outcome, settings, is_best in zip(paths, outcomes, configs, best, strict=True)
        ]
        best_is = {"best": str(paths[chosen.best]), "best_law": _law(configs[chosen.best])}
        figures = {
            "verdict": chosen.to_json() | best_is,
            "configs": rows,
        }
        print(json.dumps(figures, ensure_ascii=False, indent=2))
        return 0
    width = terminal_width()
    lines = wrapped(f"{days_words(first, args.days)}, weather {weather.name}.", width)
    lines += ["", *wrapped(chosen.text, width), ""]
    if any(settings.targets != configs[0].targets for settings in configs):
        lines += [*wrapped(_BANDS_DIFFER, width), ""]
    # All in the first config's units, or they could not be compared; costs where all have a price.
    shown_as = configs[0]
    if any(settings.energy.price_per_kwh is None for settings in configs):
        shown_as = shown_as.changed(energy=shown_as.energy.changed(price_per_kwh=None))
    rows_text = [
        row([name], outcome, settings, shown_as, is_best)
        for name, outcome, settings, is_best in zip(names, outcomes, configs, best, strict=True)
    ]
    lines += table_lines(headings(shown_as, "config"), rows_text, width, keys=2)
    lines += ["", *star_lines(configs[0], width)]
    if args.laws:
        lines += wrapped(_LAW_WORDS, width, rest="  ")
    print("\n".join(lines))
    return 0


_BANDS_DIFFER = (
    "The bands of these configs differ, and each is judged by its own: less harm does not mean a "
    "better fan or setting."
)
_LAWS = ("modulating", "fixed")
_LAW_WORDS = (
    "Fixed speeds hang on the sensors' errors, which --seed draws: try some before you choose. How "
    "near each comes to what can be done: lungwort rehearse CONFIG --bound."
)


def _under(law: str, settings: Settings) -> Settings:
    """A config under a law.

    Raises
    ------
    UserError
        Its speeds are fixed, whatever the law.
    """
    changed = settings.changed(overrides=settings.overrides.changed(law=law))
    if _law(changed) != law:
        raise UserError(
            f"{settings.tent.name}: speeds are fixed whatever overrides.law says; to modulate them "
            "takes a PWM fan whose free_flow, max_pressure and power are given, and an intake "
            "sensor",
            status=2,
        )
    return changed


def _law(settings: Settings) -> str:
    """The law that really is at work."""
    from controller.control import Rules

    return "fixed" if Rules.from_settings(settings).modulation is None else "modulating"


def star_lines(shown_as: Settings, width: int) -> list[str]:
    """What the table's star and its columns mean."""
    from controller.wording import FAN_LAWS

    degrees, *others = _excess_units(shown_as)
    kelvins = f"{degrees} / 1.8" if shown_as.units == "us" else degrees
    columns = (
        f"{degrees}, {' and '.join(others)}: how far temperature, humidity and VPD were out of "
        f"band, times for how long; harm is {kelvins} + 0.1 × % h + 3 × kPa h. In band: share of "
        "the time, mean of the three. The model is good for comparing, not a promise."
    )
    if shown_as.fan.drive != "relay":
        columns += f" {FAN_LAWS}"
    return [*wrapped(_STAR_WORDS, width, rest="  "), *wrapped(columns, width, rest="  ")]


_STAR_WORDS = (
    "* no other does less harm without more energy or more fan starts, as far as a model can tell: "
    "to 0.5 of harm, 10 Wh and one start a day."
)


def _excess_units(shown_as: Settings) -> list[str]:
    """Of temperature, humidity and VPD, such as "K h"."""
    from controller.review.phrases import excess_parts
    from simulators.rehearsal.counts import QUANTITIES

    return [excess_parts(name, 0.0, shown_as.units)[1] for name in QUANTITIES]


def _names(paths: list[Path]) -> list[str]:
    """File names, or whole paths where those are the same."""
    names = [path.stem for path in paths]
    return names if len(set(names)) == len(names) else [str(path) for path in paths]


def headings(shown_as: Settings, *keys: str) -> list[str]:
    """The headings of a table with a row a config."""
    use = "energy" if shown_as.energy.price_per_kwh is None else "cost"
    return [*keys, "", "harm", *_excess_units(shown_as), "in band", "hottest", "starts", use]


def row(
    keys: list[str], outcome: Outcome, settings: Settings, shown_as: Settings, is_best: bool
) -> list[str]:
    """One config's row."""
    from controller import display
    from controller.review.phrases import excess_parts
    from simulators.rehearsal.counts import QUANTITIES

    price = settings.energy.price_per_kwh
    use = display.energy(outcome.fan.energy_kwh)
    if shown_as.energy.price_per_kwh is not None:
        use = "–"
        if price is not None:
            use = display.money(outcome.fan.energy_kwh * price, settings.energy.currency)
    return [
        *keys,
        "*" if is_best else "",
        f"{outcome.harm:.1f}",
        *(
            excess_parts(name, minutes.hours_below + minutes.hours_above, shown_as.units)[0]
            for name, minutes in ((name, outcome.minutes(name)) for name in QUANTITIES)
        ),
        f"{outcome.share_within:.0%}",
        display.temperature(outcome.peak.value, shown_as.units),
        str(outcome.fan.starts),
        use,
    ]


def row_json(outcome: Outcome, settings: Settings, is_best: bool) -> dict[str, Any]:
    """One config's figures, SI units in the keys."""
    from simulators.rehearsal.summary import outcome_json

    figures = outcome_json(outcome, settings)
    return {"unbeaten": is_best, "in_band_share": round(outcome.share_within, 6), **figures}
