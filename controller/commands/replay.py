"""`lungwort replay`: what another config would have done on recorded days."""

from __future__ import annotations

import argparse
import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from controller.commands.arguments import HelpPage
from controller.commands.progress import ProgressBar
from controller.commands.rehearsed_days import date, days
from controller.errors import UserError
from controller.tables import terminal_width, wrapped

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record import RecordReader
    from simulators.learned_tent import ModelledTent
    from simulators.rehearsal import Outcome
    from simulators.rehearsal.recorded import Fit
    from simulators.rehearsal.recorded_errors import RecordedErrors

REPLAY_HELP = "what another config would have done on recorded days"
REPLAY_DESCRIPTION = """\
Replay recorded days under another config: the recorded intake air goes into a
simulated tent with that config's measures, lamp, fan and rules. Beside it stand
the recorded readings and, to show how far the model can be trusted, the same
days simulated with the config that was in force.
"""
REPLAY_EPILOG = """\
examples:
  lungwort replay chillies.sqlite3 --config cooler.yaml
  lungwort replay chillies.sqlite3 --config cooler.yaml \\
      --from 2013-07-18 --days 2

The record needs readings of an intake sensor. The replayed sensors err as the
recorded ones did: what the tent's read beyond the model, with fan and lamp as
recorded, they read beyond it again. So the two simulated columns can be
compared with each other and with the recorded one.
"""
_MS = 1000
# A span is too long to be run through when hardly any of it was recorded (engineering judgement):
# decades take minutes.
_LONG_S = 366 * 86_400.0
_LEAST_RECORDED = 0.1


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "replay",
        help=REPLAY_HELP,
        description=REPLAY_DESCRIPTION,
        epilog=REPLAY_EPILOG,
        formatter_class=HelpPage,
    )
    parser.add_argument("record", metavar="RECORD", type=Path, help="the record of those days")
    parser.add_argument(
        "--config", metavar="OTHER", type=Path, required=True, help="the config to try on them"
    )
    parser.add_argument(
        "--from", dest="first", metavar="DATE", type=date, help="first day, local; default: all"
    )
    parser.add_argument("--days", metavar="N", type=days, help="how many days; default: to the end")
    parser.add_argument(
        "--as-configured",
        action="store_true",
        help="simulate the tent as the config has it, not as the daemon learned it",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    parser.set_defaults(run=run)


@dataclass(slots=True)
class Replay:
    """Days three times over.

    Attributes
    ----------
    recorded : Outcome
        As they were measured.
    as_it_was : Outcome or None
        Simulated with the config last in force; None when the record has none that is usable.
    other : Outcome
        Simulated with the other config.
    fit : Fit or None
        How far `as_it_was` is from what was measured.
    model : ModelledTent
        Of the simulated tent.
    """

    recorded: Outcome
    as_it_was: Outcome | None
    other: Outcome
    fit: Fit | None
    model: ModelledTent


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.config import load_settings
    from controller.record import RecordReader

    settings = load_settings(args.config).settings
    with RecordReader(args.record) as reader, reader.snapshot():
        start_s, until_s = _span(args, reader, settings)
        was = _settings_in_force(reader, until_s)
        replay = _replay(args, reader, settings, was, start_s, until_s)
    if args.json:
        print(json.dumps(as_json(replay, settings), ensure_ascii=False, indent=2))
    else:
        print("\n".join(as_text(replay, settings, args.config.name, terminal_width())))
    return 0


def _span(
    args: argparse.Namespace, reader: RecordReader, settings: Settings
) -> tuple[float, float]:
    from controller.timetable import Timetable

    ends = reader.span()
    if ends is None:
        raise UserError(f"{args.record}: no readings yet")
    start_s, until_s = ends[0] / _MS, ends[1] / _MS
    timetable = Timetable.from_settings(settings)
    first = args.first
    if first is None and args.days is not None:
        first = timetable.local_date(start_s)
    if first is not None:
        day = timetable.day(first)
        start_s = max(start_s, day.start_s)
        if args.days is not None:
            last = timetable.day(first + dt.timedelta(days=args.days))
            until_s = min(until_s, last.start_s)
    if until_s - start_s < 3600.0:
        raise UserError(
            f"{args.record}: less than an hour of readings in this time; the record runs from "
            f"{_local(ends[0] / _MS, settings)} to {_local(ends[1] / _MS, settings)}"
        )
    _hold_recorded(args, reader, settings, start_s, until_s)
    return start_s, until_s


def _hold_recorded(
    args: argparse.Namespace,
    reader: RecordReader,
    settings: Settings,
    start_s: float,
    until_s: float,
) -> None:
    """Refuse decades that one reading makes, dated by a clock that was wrong."""
    if until_s - start_s <= _LONG_S:
        return
    query = "SELECT total(interval_s) FROM readings WHERE at_ms BETWEEN ? AND ?"
    for (recorded_s,) in reader.sql(query, (start_s * _MS, until_s * _MS)):
        if float(str(recorded_s)) < _LEAST_RECORDED * (until_s - start_s):
            raise UserError(
                f"{args.record}: of the time from {_local(start_s, settings)} to "
                f"{_local(until_s, settings)} hardly any was recorded; some of it may have been "
                "dated by a clock that was wrong. Name days that were, by --from and --days"
            )


def _settings_in_force(reader: RecordReader, until_s: float) -> Settings | None:
    from controller.config import ConfigError, settings_from_text

    configs = [row for row in reader.configs() if row.at_ms < until_s * _MS]
    if not configs:
        return None
    try:
        return settings_from_text(configs[-1].yaml, "config in the record").settings
    except ConfigError:
        return None  # written by another version


def _replay(
    args: argparse.Namespace,
    reader: RecordReader,
    settings: Settings,
    was: Settings | None,
    start_s: float,
    until_s: float,
) -> Replay:
    from simulators.learned_tent import ModelledTent, recorded_model
    from simulators.rehearsal import rehearse, scene_in
    from simulators.rehearsal.recorded import RecordedAir, knots, recorded_outcome

    span_ms = (round(start_s * _MS), round(until_s * _MS) + 1)
    runs = [settings] if was is None else [was, settings]
    outcomes, fits = [], []
    present = was or settings
    model = ModelledTent() if args.as_configured else recorded_model(reader, present, span_ms[1])
    errors = _errors(reader, present, model, span_ms)
    with ProgressBar((until_s - start_s) * len(runs), in_days=True) as bar:
        for number, tried in enumerate(runs):
            physics, fan = model.build(tried)
            intake = RecordedAir(knots(reader.readings(*span_ms)), physics.pressure_pa)
            scene = scene_in(tried, physics, intake, (), fan)
            errors.begin(scene.tent, start_s)
            intake.tent = scene.tent
            # The other config's bands hold for all columns.
            judged = tried.changed(targets=settings.targets)

            def progress(at_s: float, number: int = number) -> None:
                bar.show(at_s - start_s + number * (until_s - start_s))

            outcome = rehearse(
                tried,
                scene,
                start_s,
                until_s,
                progress=progress,
                judged_by=judged,
                errors=errors,
            )
            outcome.notes = (*outcome.notes, *intake.notes)
            outcomes.append(outcome)
            fits.append(intake.fit)
        _, fan = model.build(present)
        # A reading tells of the time before it; what ends at the start is of the day before.
        recorded = recorded_outcome(
            reader.readings(span_ms[0] + 1, span_ms[1]),
            reader.events(span_ms[0], span_ms[1] - 1, names=("fan.changed", "override.engaged")),
            settings,
            fan.power_w,
            start_s,
            until_s,
        )
    if was is None:
        return Replay(recorded, None, outcomes[0], None, model)
    return Replay(recorded, outcomes[0], outcomes[1], fits[0], model)


def _errors(
    reader: RecordReader, was: Settings, model: ModelledTent, span_ms: tuple[int, int]
) -> RecordedErrors:
    """How the sensors erred that wrote the record."""
    from simulators.rehearsal.recorded_errors import intervals, recorded_errors

    return recorded_errors(intervals(reader.readings(*span_ms)), was, *model.build(was))


def as_json(replay: Replay, settings: Settings) -> dict[str, Any]:
    """Give the figures as one object, SI units in the keys."""
    from simulators.rehearsal.summary import outcome_json

    fit = replay.fit
    return {
        "model": replay.model.to_json(),
        "recorded": outcome_json(replay.recorded, settings),
        "replayed_as_it_was": None
        if replay.as_it_was is None
        else outcome_json(replay.as_it_was, settings),
        "replayed": outcome_json(replay.other, settings),
        "model_error": None
        if fit is None
        else {
            "temperature_mean_k": round(fit.mean_k, 4),
            "temperature_rms_k": round(fit.rms_k, 4),
            "humidity_mean_pct": round(fit.mean_pct, 4),
            "humidity_rms_pct": round(fit.rms_pct, 4),
            "compared": fit.count,
        },
    }


def as_text(replay: Replay, settings: Settings, name: str, width: int) -> list[str]:
    """Give the lines printed."""
    from simulators.rehearsal.compare import comparison_lines, difference_lines, fit_lines

    columns = [("recorded", replay.recorded)]
    if replay.as_it_was is not None:
        columns.append(("as it was", replay.as_it_was))
    columns.append((name, replay.other))
    span = f"{_local(replay.other.start_s, settings)} to {_local(replay.other.until_s, settings)}"
    both = "simulated as it was and " if replay.as_it_was is not None else "simulated "
    lines = [
        *wrapped(f"Replayed: {span}; bands of {name}.", width),
        *wrapped(f"As recorded, {both}with {name}; {_model_words(replay, settings)}.", width),
        "",
        *comparison_lines(columns, settings, width),
        "",
    ]
    if replay.as_it_was is not None:
        for line in difference_lines(replay.as_it_was, replay.other, settings, name):
            lines += wrapped(line, width, rest="    ")
    if replay.fit is not None:
        lines += fit_lines(replay.fit, settings, width)
    for note in replay.other.notes:
        lines += wrapped(f"Note: {note}.", width, rest="  ")
    return lines


def _model_words(replay: Replay, settings: Settings) -> str:
    """Which model it was, and whether the other config is of the tent that was learned."""
    words = replay.model.words(ZoneInfo(settings.place.timezone))
    if replay.model.learned is not None and not replay.model.holds_for(settings):
        words += ", but as configured for the other config, which is of another tent"
    return words


def _local(wall_s: float, settings: Settings) -> str:
    from simulators.rehearsal.summary import instant_words

    return instant_words(wall_s, ZoneInfo(settings.place.timezone))
