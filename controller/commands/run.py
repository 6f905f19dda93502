"""`lungwort run`: run a tent, or a simulated one."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, TextIO, cast

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.commands.rehearsed_days import date
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.config import Loaded, Problem
    from controller.daemon.systemd import Notifier
    from simulators.simulated_world import SimulatedWorld

_DESCRIPTION = """\
Run a tent unattended: read the sensors, decide, drive the fan, and record what
was done and why. Stops cleanly on SIGTERM or Ctrl-C, reads an edited config by
itself (and on SIGHUP), and needs no network.

With --simulate the same daemon drives a simulated tent through mock pins, in
air made from real hourly weather; nothing has to be wired, and nothing real is
switched. --pace 1440 lets a day pass in a minute, --pace max as fast as it can.
"""

_EXAMPLES = """\
examples:
  lungwort run /etc/lungwort/chillies.yaml
  lungwort run config/chillies.yaml --simulate --from 2013-07-18
  lungwort run config/basil.yaml --simulate --pace max --until 2013-07-25

exit status: 0 stopped by SIGTERM or at the end of a simulation, 130 stopped by
Ctrl-C, 2 the config is wrong, 3 the hardware can't be had, 4 another lungwort
runs this tent or uses one of its pins, 1 anything else, said in one line.
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command's arguments."""
    parser = subparsers.add_parser(
        "run",
        help="run the tent, or a simulated one",
        description=_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    add_record(parser)
    parser.add_argument(
        "--log", choices=("debug", "info", "warning", "error"), default="info", help="how much"
    )
    parser.add_argument(
        "--or-last-good",
        action="store_true",
        help="keep a copy of the config that runs in the state directory, and run by it when "
        "CONFIG is gone, half-written or wrong: for a tent that is left alone",
    )
    simulation = parser.add_argument_group("simulation")
    simulation.add_argument("--simulate", action="store_true", help="run a simulated tent")
    simulation.add_argument(
        "--pace", type=_pace, default=1440.0, help="simulated seconds per second; default 1440"
    )
    simulation.add_argument(
        "--from",
        dest="first",
        type=date,
        metavar="DATE",
        help="first day, local; default: the hottest day of the weather file",
    )
    simulation.add_argument(
        "--until",
        dest="until",
        type=date,
        metavar="DATE",
        help="the day it ends at the beginning of; default: the day after the first",
    )
    simulation.add_argument(
        "--weather",
        metavar="FILE",
        help="hourly weather, a file as for rehearse; default: a real hot "
        "July in a coastal city, shipped with lungwort",
    )
    simulation.add_argument("--seed", type=int, default=1, help="of the sensors' noise")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run until told to stop."""
    from controller import log
    from controller.config.child import load_in_child

    if not args.simulate and (args.first or args.until or args.weather):
        raise UserError("--from, --until and --weather go with --simulate", status=2)
    # A simulation is looked at by a person, also through a pager or in a file.
    log.set_up(level=args.log, as_json=False if args.simulate else None)

    def load(path: Path) -> Loaded:
        return _with_record(load_in_child(path, timeout_s=60.0), args.record)

    if args.simulate:
        return _simulate(args, load)
    return _run_real(args, load)


def _run_real(args: argparse.Namespace, load: Callable[[Path], Loaded]) -> int:
    from controller.clock import SystemClock
    from controller.config import ConfigError
    from controller.config.store import LastGood
    from controller.daemon.learning_process import LearningProcess
    from controller.daemon.loop import End
    from controller.daemon.service import Service
    from controller.daemon.world import RealWorld

    if args.record is not None:
        _refuse_simulated(args.record)
    last_good = LastGood(args.config) if args.or_last_good else None
    refused: tuple[Problem, ...] = ()
    try:
        loaded = load(args.config)
    except ConfigError as error:
        stored = None if last_good is None else last_good.load(load)
        if stored is None:
            raise
        loaded, refused = stored, error.problems
    service = Service(
        # Absolute, since lgpio changes the working directory when it is imported.
        args.config.absolute(),
        loaded,
        RealWorld(SystemClock()),
        load=load,
        log_level=args.log,
        last_good=last_good,
        refused=refused,
        learning=LearningProcess(),
    )
    if service.run() is End.FAILED:
        return 1
    if service.was_interrupted:
        raise KeyboardInterrupt
    return 0


def _refuse_simulated(path: Path) -> None:
    """Keep a real tent's readings out of a record whose times and air are made up.

    The config's own record is set aside instead: nobody may be there to name another.
    """
    from controller.record.simulated import is_simulated

    if is_simulated(path):
        raise UserError(
            f"--record: {path} holds the record of a simulation; name another file, or remove it "
            "if you need it no more"
        )


def _simulate(args: argparse.Namespace, load: Callable[[Path], Loaded]) -> int:
    from controller.daemon.loop import End
    from controller.daemon.service import Service
    from simulators.simulated_world import simulated_world

    loaded = load(args.config)
    world = simulated_world(
        loaded.settings,
        weather=args.weather,
        first=args.first,
        until=args.until,
        pace=args.pace,
        seed=args.seed,
        record=args.record,
    )
    print(world.introduction(), file=sys.stderr)
    # Whoever asks for all the speed there is wants the same run again, not to take part in it.
    is_attended = args.pace != float("inf")
    with _progress(world, is_attended) as notifier:
        service = Service(
            args.config,
            _with_record(loaded, world.record_path),
            world,
            load=(lambda path: _with_record(load(path), world.record_path))
            if is_attended
            else None,
            listen=is_attended,
            notifier=notifier,
            log_level=args.log,
            log_as_json=False,
        )
        end = service.run()
    if end is End.FAILED:
        return 1
    if service.was_interrupted:
        raise KeyboardInterrupt
    print(world.summary(args.config, service.loaded))
    return 0


@contextlib.contextmanager
def _progress(world: SimulatedWorld, is_attended: bool) -> Iterator[Notifier | None]:
    """Show how far a simulation at full speed is, below the lines of its log."""
    from controller.commands.progress import LinesAbove, ProgressBar
    from controller.daemon.systemd import Notifier

    if is_attended or not sys.stderr.isatty():
        yield None
        return

    class EachTick(Notifier):
        def alive(self, status: str) -> None:
            bar.show(world.clock.monotonic_s())

    with ProgressBar(world.until_s - world.from_s, in_days=True) as bar:
        lines = cast(TextIO, LinesAbove(sys.stderr, bar))
        with contextlib.redirect_stderr(lines):
            yield EachTick({})


def _with_record(loaded: Loaded, path: Path | None) -> Loaded:
    """Write another record than the config names."""
    if path is None:
        return loaded
    settings = loaded.settings
    record = settings.record.changed(path=path.absolute())
    return loaded._replace(settings=settings.changed(record=record))


def _pace(text: str) -> float:
    if text == "max":
        return float("inf")
    try:
        pace = float(text)
    except ValueError:
        pace = 0.0
    if not 0.0 < pace < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is no pace; expected a number above 0 or 'max'")
    return pace
