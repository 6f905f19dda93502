"""`lungwort sweep`: one config with its figures varied, and the best trade-offs marked."""

from __future__ import annotations

import argparse
import itertools
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import HelpPage, add_config
from controller.commands.compare import headings, row, row_json, star_lines
from controller.commands.progress import ProgressBar
from controller.commands.rehearsed_days import add_days, span
from controller.errors import UserError
from controller.tables import table_lines, terminal_width, wrapped

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.rehearsal import Outcome

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
_MOST = 1000


# In SI, or one of the words that a key knows.
Value = float | str


def _schedule(key: str) -> Callable[[Settings, Value], Settings]:
    def put(settings: Settings, value: Value) -> Settings:
        schedule = settings.schedule.changed(**{key: value})
        return settings.changed(schedule=schedule)

    return put


def _override(name: str, key: str) -> Callable[[Settings, Value], Settings]:
    def put(settings: Settings, value: Value) -> Settings:
        override = getattr(settings.overrides, name).changed(**{key: value})
        return settings.changed(overrides=settings.overrides.changed(**{name: override}))

    return put


def _overrides(key: str) -> Callable[[Settings, Value], Settings]:
    def put(settings: Settings, value: Value) -> Settings:
        return settings.changed(overrides=settings.overrides.changed(**{key: value}))

    return put


def _worth(settings: Settings, value: Value) -> Settings:
    """Put the worth of a kelvin, and those of a percent and a pascal in the same proportion."""
    over = settings.overrides
    was_w_per_k = over.temperature.worth_w_per_k
    by = float(value) / was_w_per_k if was_w_per_k > 0.0 else 1.0
    overrides = over.changed(
        temperature=over.temperature.changed(worth_w_per_k=value),
        humidity=over.humidity.changed(worth_w_per_pct=by * over.humidity.worth_w_per_pct),
        vpd=over.vpd.changed(worth_w_per_pa=by * over.vpd.worth_w_per_pa),
    )
    return settings.changed(overrides=overrides)


@dataclass(frozen=True, slots=True)
class Knob:
    """One figure that can be varied.

    Attributes
    ----------
    option : str
        Its option, less the dashes.
    kind : str
        What sort of quantity, as `controller.units.parse` calls it.
    low, high : float
        Bounds in SI.
    put : callable
        Gives settings with the figure changed.
    key : str
        In JSON, with its unit.
    help : str
        For --help.
    default : tuple of float
        Tried when no option is given at all.
    words : tuple of str
        What it may be, of a key that knows words only; its kind is "word" then.
    """

    option: str
    kind: str
    low: float
    high: float
    put: Callable[[Settings, Value], Settings]
    key: str
    help: str
    default: tuple[float, ...] = ()
    words: tuple[str, ...] = ()

    @property
    def is_commanded(self) -> bool:
        """Whether the motor is given it as a speed."""
        return self.kind == "speed" and self.option != "step"


KNOBS = (
    Knob("pre-run", "duration", 0.0, 43_200.0, _schedule("pre_run_s"), "pre_run_s",
         "fan start before lights-on, such as 0min,15min,1h", (0.0, 900.0, 3600.0)),
    Knob("run-on", "duration", 0.0, 43_200.0, _schedule("run_on_s"), "run_on_s",
         "fan stop after lights-off"),
    Knob("day-speed", "speed", 0.0, 1.0, _schedule("day_speed"), "day_speed",
         "scheduled speed by day, such as 40%%,60%%,80%%", (0.3, 0.5, 0.7, 1.0)),
    Knob("night-speed", "speed", 0.0, 1.0, _schedule("night_speed"), "night_speed",
         "scheduled speed by night"),
    Knob("hysteresis", "temperature_difference", 0.1, 20.0,
         _override("temperature", "hysteresis_k"), "hysteresis_k",
         "of the temperature override, such as '0.5 K,1 K'", (0.5, 1.0, 2.0)),
    Knob("law", "word", 0.0, 0.0, _overrides("law"), "law",
         "by which an override sets the speed: modulating,fixed",
         words=("modulating", "fixed")),
    Knob("worth", "power_per_kelvin", 0.0, 10_000.0, _worth, "worth_w_per_k",
         "of a degree out of band, such as '20 W/K,60 W/K'; those of humidity and VPD go with it"),
    Knob("humidity-worth", "power_per_percent", 0.0, 1_000.0,
         _override("humidity", "worth_w_per_pct"), "humidity_worth_w_per_pct",
         "of a percent of humidity out of band, such as '2 W/%%,6 W/%%'"),
    Knob("vpd-worth", "power_per_pascal", 0.0, 10.0,
         _override("vpd", "worth_w_per_pa"), "vpd_worth_w_per_pa",
         "of a VPD out of band, such as '60 W/kPa,180 W/kPa'"),
    Knob("every", "duration", 60.0, 3600.0, _overrides("every_s"), "every_s",
         "how often a modulated speed is chosen, such as 10min,15min,30min"),
    Knob("step", "speed", 0.05, 0.5, _overrides("step"), "step",
         "from one modulated speed to the next, such as 5%%,10%%,20%%"),
)  # fmt: skip


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


def values_of(knob: Knob, text: str, is_relay: bool) -> list[Value]:
    """Read one option's list.

    Raises
    ------
    UserError
        Naming the value that is none, or out of range.
    """
    from controller import display, units

    values: list[Value] = []
    for part in text.split(","):
        if knob.words:
            if part.strip() not in knob.words:
                raise UserError(
                    f"--{knob.option}: {part.strip()!r} is not known; expected "
                    f"{' or '.join(knob.words)}",
                    status=2,
                )
            if part.strip() not in values:
                values.append(part.strip())
            continue
        try:
            value = units.parse(part.strip(), knob.kind)
        except ValueError as error:
            raise UserError(f"--{knob.option}: {error}", status=2) from None
        if not knob.low <= value <= knob.high:
            low, high = (display.quantity(b, knob.kind, "si") for b in (knob.low, knob.high))
            raise UserError(
                f"--{knob.option}: {part.strip()} is out of range; {low} to {high}", status=2
            )
        if is_relay and knob.is_commanded and value not in (0.0, 1.0):
            raise UserError(
                f"--{knob.option}: a relay knows 0 % and 100 % only, got {part.strip()}", status=2
            )
        if value not in values:
            values.append(value)
    return values


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.config import load_settings
    from simulators.rehearsal.choice import choice
    from simulators.rehearsal.compare import merits, unbeaten
    from simulators.rehearsal.summary import days_words
    from simulators.rehearsal.workers import SharedDays, rehearse_all

    settings = load_settings(args.config).settings
    knobs, combinations = grid(args, settings)
    weather, first, start_s, until_s = span(settings, args.weather, args.first, args.days)
    configs = []
    for combination in combinations:
        config = settings
        for knob, value in zip(knobs, combination, strict=True):
            config = knob.put(config, value)
        configs.append(config)
    with ProgressBar((until_s - start_s) * len(configs), in_days=True) as bar:
        outcomes = rehearse_all(
            configs, SharedDays(weather, start_s, until_s, args.seed), progress=bar.show
        )
    best = unbeaten([merits(outcome) for outcome in outcomes])
    order = sorted(range(len(configs)), key=lambda i: outcomes[i].harm)
    labels = [_label(knobs, combination, settings) for combination in combinations]
    chosen = choice(outcomes, labels, configs)
    idle = [] if chosen.alike else _idle(knobs, combinations, outcomes)
    words = " and ".join(_words(knob) for knob in idle)
    without = f" Nothing to choose in {words}: a model can tell no difference." if idle else ""
    text = chosen.text + without
    if args.json:
        rows = [
            {
                **{k.key: v for k, v in zip(knobs, combinations[i], strict=True)},
                **row_json(outcomes[i], configs[i], best[i]),
            }
            for i in order
        ]
        values = zip(knobs, combinations[chosen.best], strict=True)
        verdict = chosen.to_json() | {
            "text": text,
            "best": {knob.key: value for knob, value in values},
            "without_effect": [knob.key for knob in idle],
        }
        print(json.dumps({"verdict": verdict, "combinations": rows}, ensure_ascii=False, indent=2))
        return 0
    width = terminal_width()
    lines = wrapped(
        f"{settings.tent.name}: {len(configs)} combination{'s' if len(configs) > 1 else ''}, "
        f"{days_words(first, args.days)}, weather {weather.name}.",
        width,
    )
    lines += ["", *wrapped(text, width), ""]
    shown = [i for i in order if args.all or best[i]]
    if chosen.alike and not args.all:
        shown = [chosen.best]
    rows_text = [
        row(_texts(knobs, combinations[i], settings), outcomes[i], configs[i], settings, best[i])
        for i in shown
    ]
    keys = headings(settings, *map(_words, knobs))
    lines += table_lines(keys, rows_text, width, align=">" * len(keys), keys=len(knobs) + 1)
    lines += ["", *star_lines(settings, width)]
    for note in _raised(knobs, combinations, settings):
        lines += wrapped(note, width, rest="  ")
    left_out = len(configs) - len(shown)
    if left_out:
        is_single = left_out == 1
        why = ("comes" if is_single else "come") + " out alike" if chosen.alike else "others beat"
        count = "1 combination" if is_single else f"{left_out} combinations"
        is_out = "is" if is_single else "are"
        lines += wrapped(f"{count} that {why} {is_out} left out; --all shows all.", width)
    print("\n".join(lines))
    return 0


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


def grid(
    args: argparse.Namespace, settings: Settings
) -> tuple[list[Knob], list[tuple[Value, ...]]]:
    """What is varied, and every combination of it."""
    is_relay = settings.fan.drive == "relay"
    given: dict[str, Any] = {k.option: getattr(args, k.option.replace("-", "_")) for k in KNOBS}
    knobs = [knob for knob in KNOBS if given[knob.option] is not None]
    if knobs:
        lists = [values_of(knob, given[knob.option], is_relay) for knob in knobs]
    else:
        knobs = [k for k in KNOBS if k.default and not (is_relay and k.is_commanded)]
        lists = [[*knob.default] for knob in knobs]
    combinations = list(itertools.product(*lists))
    if len(combinations) > _MOST:
        raise UserError(f"{len(combinations)} combinations are too many; {_MOST} at most", status=2)
    return knobs, combinations


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
