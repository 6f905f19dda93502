"""`lungwort commission`: prove on the rig that sensors, fan and air do what the config says."""

from __future__ import annotations

import argparse
import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import (
    HelpPage,
    add_config,
    add_record,
    complete_files,
    option_quantity,
)
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.commissioning.course import Result, TrialState
    from controller.commissioning.sites import Site
    from controller.commissioning.talk import Talk
    from controller.config import Loaded, Settings

COMMISSION_HELP = "prove on the rig that sensors, fan and air do what the config says"
COMMISSION_DESCRIPTION = """\
Walk through a new or changed rig, step by step, before it is left alone:

  sensors      reads each, compares those side by side, gives the offset to set
  fan          runs it at some speeds: does it turn, which way goes the air?
               Lets go of its wire: does it run, with the Pi starting or dead?
  air-change   times how fast the air is renewed, beside the calculated flow

It asks at the terminal. Without one, --yes gives every go-ahead and leaves open what only a
person can see; --answers FILE says that too. The daemon must be stopped: both would drive the
fan. What was found is written beside the record, as JSON and as text.

Mains power kills and fans start without warning: read the cautions that are shown first. Local
codes and a licensed electrician have the last word on the wiring.
"""
_STEPS = ("sensors", "fan", "air-change")


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Declare the command and its options."""
    parser = subparsers.add_parser(
        "commission",
        help=COMMISSION_HELP,
        description=COMMISSION_DESCRIPTION,
        epilog=_epilog(),
        formatter_class=HelpPage,
    )
    add_config(parser)
    add_record(parser)
    parser.add_argument(
        "--skip", action="append", choices=_STEPS, default=[], help="leave a step out; repeatable"
    )
    parser.add_argument(
        "--speeds", metavar="LIST", help="fan speeds to try, rising, such as '30 %%, 60 %%, 100 %%'"
    )
    parser.add_argument(
        "--build-up",
        metavar="DURATION",
        help="longest rest of the fan before the air change is timed (default: 15 min)",
    )
    unattended = parser.add_argument_group("without a person at the terminal")
    unattended.add_argument(
        "--yes", action="store_true", help="give every go-ahead: you have read the cautions"
    )
    complete_files(
        unattended.add_argument(
            "--answers", metavar="FILE", type=Path, help="YAML file with answers, see below"
        )
    )
    complete_files(
        parser.add_argument(
            "--output", metavar="DIR", type=Path, help="where to write (default: beside the record)"
        )
    )
    parser.add_argument("--json", action="store_true", help="print the record as JSON")
    parser.add_argument(
        "--simulate", action="store_true", help="on a simulated tent; nothing real is switched"
    )
    parser.add_argument("--seed", type=int, default=1, help="of the simulated sensors' noise")
    parser.set_defaults(run=run)


def _epilog() -> str:
    return """\
examples:
  lungwort commission config/chillies.yaml --simulate --yes
  lungwort commission /etc/lungwort/chillies.yaml
  lungwort commission /etc/lungwort/chillies.yaml --skip air-change

answers (a YAML file, each line optional):
  cautions_read: yes          hands_clear: yes       tent_closed: yes
  sensors_together: yes       thermometer: 23.4 °C   hygrometer: 55 %
  air_at_slowest: in          air_at_full: in        air_undriven: in
                              (in, out, still or unsure)

exit status: 0 ready (hints included), 3 a fault was found, 4 the daemon is running, 130 stopped
by Ctrl-C. However it ends, the lamp is left dark, if it is ours, and the fan as after
'systemctl stop': off with a dark lamp, else at the failsafe speed.
"""


def run(args: argparse.Namespace) -> int:
    """Walk through it."""
    from controller.config import load_settings

    loaded = _with_record(load_settings(args.config), args.record)
    settings = loaded.settings
    course = _course(args, settings)
    talk = _talk(args)
    site = _site(args, settings)
    with site.claim(settings):
        return commission(args, loaded, course, talk, site)


def commission(
    args: argparse.Namespace, loaded: Loaded, course: TrialState, talk: Talk, site: Site
) -> int:
    """Commission a claimed rig, write the record, and give the exit status."""
    from controller.commissioning.course import Result, get_consent
    from controller.commissioning.report import Report, try_directory, worst, write

    settings = loaded.settings
    directory = args.output or settings.record_path.parent
    try_directory(directory)
    result = Result.empty()
    if site.simulated:
        talk.say("A simulated tent: nothing real is switched.\n")
    get_consent(talk)
    status = _walk(settings, course, talk, site, result)
    report = Report(site.clock.wall_s(), str(args.config), loaded, result, site.simulated)
    paths = write(report, directory)
    if args.json:
        import json

        print(json.dumps(report.as_json(), indent=2, ensure_ascii=False))
    with contextlib.suppress(OSError):
        talk.say(f"\n{report.verdict.capitalize()}. Written: {paths[0]} and {paths[1].name}")
    if status == 0 and worst(result.findings) == "fault":
        return 3
    return status


def _walk(settings: Settings, course: TrialState, talk: Talk, site: Site, result: Result) -> int:
    """Take the steps; whatever happens, leave the rig in its safe state."""
    from controller.commissioning.procedure import Procedure

    with _stoppable():
        edges = site.open_edges(settings)
        try:
            Procedure(settings, edges, site.clock, talk, course, result).run()
            return 0
        except KeyboardInterrupt:
            result.unfinished = "stopped by hand"
            return 130
        except BaseException as error:
            result.unfinished = str(error) or type(error).__name__
            raise
        finally:
            # A second Ctrl-C must not come between the fan and its safe state.
            _ignore_signals()
            edges.close()
            with contextlib.suppress(OSError):  # the terminal may be what was lost
                talk.say(f"\n{_left(settings)}")


def _left(settings: Settings) -> str:
    """How the rig was left."""
    from controller import display
    from controller.outputs.parking import ParkingPlan

    plan = ParkingPlan.from_settings(settings)
    lamp = " and the lamp off" if plan.lamp is not None else ""
    return f"The fan was left at {display.speed(plan.speed_after_stop)}{lamp}."


_STOPPING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def _ignore_signals() -> None:
    with contextlib.suppress(ValueError):  # not the main thread: a test's
        for number in _STOPPING:
            signal.signal(number, signal.SIG_IGN)


@contextlib.contextmanager
def _stoppable() -> Iterator[None]:
    """SIGTERM and a lost terminal stop it as Ctrl-C does, so that nothing is left spinning."""
    before: dict[signal.Signals, Any] = {}

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    with contextlib.suppress(ValueError):  # not the main thread: a test's
        for number in _STOPPING:
            before[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _site(args: argparse.Namespace, settings: Settings) -> Site:
    from controller.commissioning.sites import RealSite, SimulatedSite

    return SimulatedSite(settings, args.seed) if args.simulate else RealSite()


def _talk(args: argparse.Namespace) -> Talk:
    from controller.commissioning.talk import PreparedTalk, TerminalTalk, terminal_is_there

    tell: Callable[[str], None] = _tell_aside if args.json else _tell
    if args.answers is not None:
        return PreparedTalk(_answers(args.answers), consent=args.yes, tell=tell)
    if args.yes:
        return PreparedTalk({}, consent=True, tell=tell)
    if not terminal_is_there():
        raise UserError(
            "there is no terminal to ask at; give --yes or --answers FILE, having read the "
            "cautions in 'lungwort commission --help' and the README",
            status=2,
        )
    return TerminalTalk(ask=_ask, tell=tell)


def _tell(text: str) -> None:
    print(_in_the_terminal(text))


def _tell_aside(text: str) -> None:
    print(_in_the_terminal(text), file=sys.stderr)


def _ask(prompt: str) -> str:
    return input(f"{_in_the_terminal(prompt)} ")


def _in_the_terminal(text: str) -> str:
    from controller.commissioning.talk import fitted
    from controller.tables import terminal_width

    return fitted(text, terminal_width())


def _answers(path: Path) -> dict[str, object]:
    import yaml

    try:
        text = path.read_text(encoding="utf-8")
        if len(text) > 10_000:
            raise UserError(f"{path}: too long for a file of answers", status=2)
        answers = yaml.safe_load(text)
    except OSError as error:
        raise UserError(f"{path}: {error.strerror}", status=2) from error
    except (yaml.YAMLError, UnicodeDecodeError) as error:
        reason = str(error).splitlines()[0]
        raise UserError(f"{path}: not a YAML file of answers: {reason}", status=2) from error
    if answers is None:
        return {}
    if not isinstance(answers, dict):
        raise UserError(f"{path}: expected lines such as 'cautions_read: yes'", status=2)
    return {str(key): value for key, value in answers.items()}


def _course(args: argparse.Namespace, settings: Settings) -> TrialState:
    from controller.commissioning.course import STEPS, TrialState, default_speeds

    steps = tuple(step for step in STEPS if step not in args.skip)
    if not steps:
        raise UserError("every step is skipped: there is nothing to do", status=2)
    speeds = default_speeds(settings)
    if args.speeds is not None:
        speeds = _speeds(args.speeds, settings)
    course = TrialState(steps=steps, speeds=speeds)
    if args.build_up is not None:
        from dataclasses import replace

        build_up_s = option_quantity(args.build_up, "duration", "--build-up")
        if not 60.0 <= build_up_s <= 7200.0:
            raise UserError("--build-up: expected 1 min to 2 h", status=2)
        course = replace(course, build_up_s=build_up_s)
    return course


def _speeds(text: str, settings: Settings) -> tuple[float, ...]:
    speeds = tuple(option_quantity(part, "speed", "--speeds") for part in text.split(","))
    if any(not 0.0 < speed <= 1.0 for speed in speeds) or sorted(set(speeds)) != list(speeds):
        raise UserError(
            f"--speeds: {text!r}; expected rising speeds above 0 % and up to 100 %, "
            "such as '30 %, 60 %, 100 %'",
            status=2,
        )
    if settings.fan.drive == "relay" and speeds != (1.0,):
        raise UserError("--speeds: a fan on a relay knows only 100 %", status=2)
    return speeds


def _with_record(loaded: Loaded, path: Path | None) -> Loaded:
    """Write another record than the config names."""
    if path is None:
        return loaded
    settings = loaded.settings
    record = settings.record.changed(path=path.absolute())
    return loaded._replace(settings=settings.changed(record=record))
