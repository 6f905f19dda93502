"""`lungwort rehearse`: a config on a simulated tent, over real weather, in fast-forward."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.commands.arguments import HelpPage, add_config
from controller.commands.progress import ProgressBar
from controller.commands.rehearsed_days import add_days, span
from controller.errors import UserError
from controller.tables import terminal_width, wrapped

if TYPE_CHECKING:
    from controller.config import Loaded, Settings
    from controller.record import Record
    from simulators.learned_tent import ModelledTent
    from simulators.rehearsal import Outcome, Policy
    from simulators.rehearsal.bound import Bound
    from simulators.rehearsal.fault_effects import FaultOutcome
    from simulators.rehearsal.faults import Fault
    from simulators.rehearsal.loop import Progress
    from simulators.rehearsal.scene import Scene
    from simulators.rehearsal.verdict import TentVerdict
    from simulators.weather import Weather

REHEARSE_HELP = "try a config on a simulated tent, a season in seconds"
REHEARSE_DESCRIPTION = """\
Rehearse a config before a crop has to trust it: the very decisions of the
daemon, a minute at a time, on a simulated tent of the config's size, lamp, fan
and crop, in air made from real hourly weather. Nothing real is switched.

Says first whether the tent is fit and what limits it; then the time in and out
of each band, the hottest and coldest moments, what the fan did and cost, and
when outside air could not help.
"""
REHEARSE_EPILOG = """\
weather that ships with lungwort:
  coastal-city-2013-07   a real July with two days of 37 °C (18 and 19 July)
  airfield-2013          a real year by the sea
  invented-heat-wave     1 to 14 July 2031, made up
or a file of your own: EPW, TMY3, NOAA global-hourly (ISD) or LCD, or a plain
CSV; simulators/weather/README.md says how each is read.

examples:
  lungwort rehearse config/chillies.yaml --from 2013-07-15 --days 7
  lungwort rehearse config/basil.yaml --weather airfield-2013 \\
      --from 2013-01-01 --days 364
  lungwort rehearse config/chillies.yaml --from 2013-07-18 --days 2 \\
      --faults fan-dead
  lungwort rehearse config/chillies.yaml --from 2013-07-15 --bound
  lungwort rehearse config/chillies.yaml --from 2013-07-18 --days 3 \\
      --record hot.sqlite3
  lungwort review config/chillies.yaml --record hot.sqlite3

The tent is a model: good for comparing settings, not a promise. Mains power,
heat and water can hurt people; see the cautions in the README.
"""
# Up to so many days, the schedule alone and a fan that always runs are rehearsed beside it unasked.
_COMPARED_DAYS = 31
_SCHEDULE_ALONE = "schedule alone"
_ALWAYS_ON = "always at full speed"
_POLICIES: tuple[tuple[str, Policy], ...] = (
    (_SCHEDULE_ALONE, "schedule_alone"),
    (_ALWAYS_ON, "always_on"),
)


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "rehearse",
        help=REHEARSE_HELP,
        description=REHEARSE_DESCRIPTION,
        epilog=REHEARSE_EPILOG,
        formatter_class=HelpPage,
    )
    add_config(parser)
    add_days(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    parser.add_argument(
        "--record",
        metavar="FILE",
        type=Path,
        help="write the record a real run would have written, for now, events and review",
    )
    parser.add_argument(
        "--as-learned",
        nargs="?",
        const=Path(),
        metavar="RECORD",
        type=Path,
        help="the tent as the daemon learned it, from the config's record or another",
    )
    parser.add_argument(
        "--faults",
        metavar="SCRIPT",
        help="let things break: a fault script, or one of "
        "sensor-stuck, sensor-dropped, sensor-drifting, fan-dead, filter-clogging, "
        "filter-blocked, lamp-stuck-on, power-cut, controller-down, clock-wrong; "
        "'help' says how to write one",
    )
    parser.add_argument(
        "--bound",
        action="store_true",
        help="beside it the best that any fan could do, the weather known in advance: "
        "energy against comfort, and how near the config comes",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.config import load_settings
    from simulators.rehearsal.bound.bound_words import bound_json, bound_lines
    from simulators.rehearsal.fault_effects import fault_json, fault_lines
    from simulators.rehearsal.summary import days_words, outcome_json, outcome_lines

    if args.faults == "help":
        from simulators.rehearsal.faults import FAULT_FILE

        print(FAULT_FILE)
        return 0
    if args.bound and args.faults is not None:
        raise UserError("--bound is of a tent without faults; leave --faults out", status=2)
    loaded = load_settings(args.config)
    settings = loaded.settings
    weather, first, start_s, until_s = span(settings, args.weather, args.first, args.days)
    subject = _Subject(loaded, _model(args, settings), weather, start_s, until_s, args.seed)
    result = _rehearse(args, subject)
    judged = _judge(args, subject, result)
    bound = _bound(subject) if args.bound else None
    if args.json:
        figures = outcome_json(result.outcome, settings) | {
            "verdict": judged.to_json(),
            "model": subject.model.to_json(),
        }
        if args.faults is not None:
            figures["faults"] = fault_json(result.faults, settings)
        if bound is not None:
            figures["bound"] = bound_json(bound, result.outcome)
        print(json.dumps(figures, ensure_ascii=False, indent=2))
        return 0
    width = terminal_width()
    lines = [
        *wrapped(
            f"A rehearsal of {settings.tent.name}: {days_words(first, args.days)}, weather "
            f"{weather.name}. The tent is simulated, {subject.tent_words()}; nothing real was "
            "switched.",
            width,
        ),
        "",
        *wrapped(judged.text, width),
        "",
        *outcome_lines(result.outcome, settings, result.others, width),
    ]
    if bound is not None:
        lines += bound_lines(bound, result.outcome, settings, width)
    lines += fault_lines(result.faults, settings, width)
    print("\n".join(lines))
    if args.record is not None:
        text = "These figures are of the tent's true air; a review is of what its sensors read."
        print("", *wrapped(text, width), "Look closer:", sep="\n")
        print(f"  lungwort review {args.config} --record {args.record}")
        print(f"  lungwort events {args.config} --record {args.record}")
    return 0


class _Subject(NamedTuple):
    """What is rehearsed.

    Attributes
    ----------
    loaded : Loaded
        The config.
    model : ModelledTent
        The tent that is simulated.
    weather : Weather
        Outdoors.
    start_s, until_s : float
        The days [Unix s].
    seed : int
        Of the sensors' errors.
    """

    loaded: Loaded
    model: ModelledTent
    weather: Weather
    start_s: float
    until_s: float
    seed: int

    @property
    def settings(self) -> Settings:
        """The config's settings."""
        return self.loaded.settings

    def scene(self, settings: Settings | None = None) -> Scene:
        """A tent that nothing has happened to yet, under the config or under other settings."""
        from simulators.learned_tent import model_scene

        return model_scene(settings or self.settings, self.model, self.weather, self.start_s)

    def tent_words(self) -> str:
        """As what the tent is simulated: "as configured"."""
        from zoneinfo import ZoneInfo

        zone = ZoneInfo(self.settings.place.timezone)
        return self.model.words(zone).removeprefix("the tent ")


@dataclass(slots=True)
class _Result:
    """Results: the config's outcome, those of other policies, and the effects of faults."""

    outcome: Outcome
    others: list[tuple[str, Outcome]] = field(default_factory=list)
    faults: list[FaultOutcome] = field(default_factory=list)


def _model(args: argparse.Namespace, settings: Settings) -> ModelledTent:
    """The tent that is simulated.

    Raises
    ------
    UserError
        It was to be the learned tent, and the record has none.
    """
    from controller.record import RecordReader
    from simulators.learned_tent import ModelledTent, recorded_model

    if args.as_learned is None:
        return ModelledTent()
    record = args.as_learned if args.as_learned.name else settings.record_path
    with RecordReader(record) as reader:
        model = recorded_model(reader, settings)
    if model.learned is None:
        raise UserError(
            f"{record}: nothing was learned yet of a tent such as this config's; the daemon "
            "learns every night, after three days of readings: lungwort learn says what is missing"
        )
    return model


def _rehearse(args: argparse.Namespace, subject: _Subject) -> _Result:
    from simulators.rehearsal import rehearse
    from simulators.rehearsal.faults import load_faults

    settings, start_s, until_s = subject.settings, subject.start_s, subject.until_s
    length_s = until_s - start_s
    faults = load_faults(args.faults, settings, start_s) if args.faults is not None else ()
    _check_days(faults, subject)
    compare = not args.json and not faults and args.days <= _COMPARED_DAYS
    compared = _compared(settings) if compare else []
    done = 0
    runs = 2 if faults else 1 + len(compared)
    with ProgressBar(length_s * runs, in_days=True) as bar:

        def progress(at_s: float) -> None:
            bar.show(at_s - start_s + done * length_s)

        others = []
        for name, config, policy in compared:
            outcome = rehearse(
                config,
                subject.scene(config),
                start_s,
                until_s,
                policy=policy,
                seed=subject.seed,
                progress=progress,
            )
            others.append((name, outcome))
            done += 1
        if faults or args.record is not None:
            result = _rehearse_fully(subject, args.record, faults, progress)
            result.others = others
        else:
            outcome = rehearse(
                settings, subject.scene(), start_s, until_s, seed=subject.seed, progress=progress
            )
            result = _Result(outcome, others)
    if alone := dict(others).get(_SCHEDULE_ALONE):
        # What it did itself: quiet hours end near the heat warning of its own tent.
        result.outcome.schedule_alone = alone.fan
    return result


def _compared(settings: Settings) -> list[tuple[str, Settings, Policy]]:
    """What is rehearsed beside a config; if its speeds are modulated, fixed ones as well."""
    from controller.control import Rules

    policies = [(name, settings, policy) for name, policy in _POLICIES]
    if Rules.from_settings(settings).modulation is not None:
        fixed = settings.changed(overrides=settings.overrides.changed(law="fixed"))
        policies.insert(0, ("with fixed speeds", fixed, "config"))
    return policies


def _judge(args: argparse.Namespace, subject: _Subject, result: _Result) -> TentVerdict:
    """Judge the tent; where more air might help, rehearse how much of it would."""
    from simulators.rehearsal.fan_trial import try_fans
    from simulators.rehearsal.verdict import verdict

    settings = subject.settings
    if args.faults is not None or args.days > _COMPARED_DAYS or args.as_learned is not None:
        return verdict(result.outcome, settings)
    with ProgressBar(1.0) as bar:
        trial = try_fans(
            settings,
            subject.weather,
            result.outcome,
            seed=subject.seed,
            full=dict(result.others).get(_ALWAYS_ON),
            progress=bar.show,
        )
    return verdict(result.outcome, settings, trial)


def _bound(subject: _Subject) -> Bound:
    from simulators.rehearsal.bound import find_bound

    with ProgressBar(1.0) as bar:
        return find_bound(
            subject.settings,
            subject.scene,
            subject.start_s,
            subject.until_s,
            progress=bar.show,
        )


def _check_days(faults: tuple[Fault, ...], subject: _Subject) -> None:
    """Refuse faults of other days: they would have no effect."""
    from zoneinfo import ZoneInfo

    from simulators.rehearsal.summary import instant_words

    zone = ZoneInfo(subject.settings.place.timezone)
    start_s, until_s = subject.start_s, subject.until_s
    for fault in faults:
        if not fault.from_s < until_s or not fault.until_s > start_s:
            raise UserError(
                f"the fault {fault.kind} begins {instant_words(fault.from_s, zone)}, outside the "
                f"days rehearsed, {instant_words(start_s, zone)} to "
                f"{instant_words(until_s, zone)}; choose other days or another `at`",
                status=2,
            )


def _rehearse_fully(
    subject: _Subject, path: Path | None, faults: tuple[Fault, ...], progress: Progress
) -> _Result:
    """With the daemon's own tick: to record it, or to see what it does about faults."""
    from controller.record import MemoryRecord, RecordReader
    from simulators.records import simulated_record
    from simulators.rehearsal import rehearse_fully
    from simulators.rehearsal.fault_effects import fault_outcomes

    def go(record: Record, breaks: tuple[Fault, ...]) -> tuple[Outcome, list[tuple[float, float]]]:
        track: list[tuple[float, float]] = []
        outcome = rehearse_fully(
            subject.loaded,
            subject.scene(),
            subject.start_s,
            subject.until_s,
            record,
            seed=subject.seed,
            faults=breaks,
            progress=progress,
            track=track if faults else None,
        )
        return outcome, track

    if path is None:
        memory = MemoryRecord()
        outcome, track = go(memory, faults)
        events = memory.events
    else:
        record = simulated_record(path, round(subject.start_s * 1000))
        try:
            outcome, track = go(record, faults)
        finally:
            record.close()
        with RecordReader(path) as reader:
            events = list(reader.events())
    if not faults:
        return _Result(outcome)
    usual = MemoryRecord()
    _, usual_track = go(usual, ())
    return _Result(outcome, faults=fault_outcomes(faults, events, usual.events, track, usual_track))
