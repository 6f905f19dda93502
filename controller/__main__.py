"""The command `lungwort`: finds the command asked for and turns errors into one line each."""

from __future__ import annotations

import argparse
import gc
import importlib
import io
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from controller import __version__
from controller.commands.arguments import HelpPage
from controller.errors import UserError
from controller.interruption import ending, ignore_signals, raise_on_signals

# In the order of a grower's days: plan, check, run, look, review, look after.
COMMANDS = (
    "air",
    "size",
    "new",
    "check",
    "rehearse",
    "compare",
    "sweep",
    "wiring",
    "sensors",
    "commission",
    "run",
    "now",
    "hold",
    "release",
    "events",
    "alarms",
    "review",
    "learn",
    "tomorrow",
    "replay",
    "backup",
    "park",
    "schema",
    "completion",
)

_DESCRIPTION = """\
Keeps the air of a small indoor growing tent right, from one config file:
plans the fan, rehearses a season, runs the tent, and reviews a hot day.
"""

_EPILOG = """\
A first walk:
  lungwort new tent.yaml                       a config for your own tent
  lungwort check config/chillies.yaml          what the config means, today
  lungwort size config/chillies.yaml           whether the fan is strong enough
  lungwort run config/chillies.yaml --simulate --pace 1440 \\
      --from 2013-07-26 --until 2013-07-27     a July day in a minute, nothing wired
  lungwort run /etc/lungwort/tent.yaml         the real thing

Exit status:
  0  fine
  1  it could not be done; the reason is said in one line
  2  the config or the command line is wrong
  3  the hardware can't be had
  4  another lungwort runs this tent already
  130  stopped by Ctrl-C

Mains power, heat, water and CO2 can hurt people: the README's cautions and
your local codes come first, and a licensed electrician does the mains wiring.
"""


def build_parser(commands: Sequence[str] = COMMANDS) -> argparse.ArgumentParser:
    """Build the parser of these commands; they import nothing heavy for it."""
    parser = argparse.ArgumentParser(
        prog="lungwort",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=HelpPage,
    )
    parser.add_argument("--version", action="version", version=f"lungwort {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for name in commands:
        importlib.import_module(f"controller.commands.{name}").add(subparsers)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        The arguments; default: the process's own.

    Returns
    -------
    int
        The exit status.
    """
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by who called us
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123, SIM115
    for stream in (sys.stdout, sys.stderr):
        # A terminal that knows only ASCII shows a question mark for °; that beats a failure.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        status = _run(sys.argv[1:] if argv is None else argv)
        sys.stdout.flush()
    except UserError as error:
        names_place = error.status == 2 and ":" in error.message.partition("\n")[0]
        print(error.message if names_place else f"lungwort: {error.message}", file=sys.stderr)
        return error.status
    except BrokenPipeError:
        # The reader of our output has gone (`lungwort events | head`): not an error of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt as error:
        return _end(error)
    except OSError as error:
        why = error.strerror or str(error)
        what = f"{error.filename}: {why}" if error.filename else why
        print(f"lungwort: {what}", file=sys.stderr)
        return 1
    except Exception as error:
        if os.environ.get("LUNGWORT_DEBUG"):
            raise
        interruption = _interruption(error)
        if interruption is not None:
            return _end(interruption)
        if _is_of_the_record(error, sys.argv[1:] if argv is None else argv):
            print(
                f"lungwort: the record has readings that no tent's air can have ({error}): a "
                "sensor that failed, or a damaged file. Name days without them, or put a backup in "
                "its place",
                file=sys.stderr,
            )
            return 1
        print(
            f"lungwort: a fault of lungwort's own: {type(error).__name__}: {error}\n"
            "lungwort: please report it, with what LUNGWORT_DEBUG=1 in the environment shows",
            file=sys.stderr,
        )
        return 1
    return status


def _is_of_the_record(error: Exception, arguments: Sequence[str]) -> bool:
    """Whether a command that models what a record holds came upon air that can't be."""
    from controller.air import AirRangeError

    of_a_record = ("review", "replay", "learn", "tomorrow")
    return isinstance(error, AirRangeError) and arguments[0] in of_a_record


def _unknown_command(name: str) -> str:
    """What is wrong with the first word, and which command it most likely stands for."""
    import difflib

    near = difflib.get_close_matches(name.lower(), COMMANDS, 1, 0.5)
    wrong = f"lungwort: there is no command {name!r}"
    if near:
        return f"{wrong}; {near[0]}, perhaps ('lungwort --help' lists them)"
    if name.endswith((".yaml", ".yml")):
        return f"{wrong}; a config comes behind its command: lungwort check {name}"
    return f"{wrong}; expected one of {', '.join(COMMANDS)}"


def _run(arguments: Sequence[str]) -> int:
    if arguments and not arguments[0].startswith("-") and arguments[0] not in COMMANDS:
        print(_unknown_command(arguments[0]), file=sys.stderr)
        return 2
    # A command that is named first needs no others: starting is half the time of a quick one.
    named = [name for name in arguments[:1] if name in COMMANDS]
    parser = build_parser(named or COMMANDS)
    args, unknown = parser.parse_known_args(arguments)
    if unknown:  # argparse's own message shows the usage that lists no option of a command
        command = f"lungwort {args.command}" if args.command else "lungwort"
        words = f"{command}: does not take {' '.join(unknown)}; see {command} --help"
        print(words, file=sys.stderr)
        return 2
    if args.command is None:
        parser.print_help()
        return 2
    status: int = args.run(args)
    return status


def _end(error: KeyboardInterrupt) -> int:
    words, status = ending(error)
    print(words, file=sys.stderr)
    return status


def _interruption(error: BaseException | None) -> KeyboardInterrupt | None:
    """The Ctrl-C behind an error: one that comes while a class is being made is wrapped."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return error
        error = error.__cause__ or error.__context__
    return None


def process() -> NoReturn:
    """Be the process `lungwort`: run the command line and leave with its exit status."""
    # What is imported stays. To look through it for garbage over and over, and once more when
    # leaving, would be a tenth of a quick command.
    gc.set_threshold(20_000, *gc.get_threshold()[1:])
    raise_on_signals()
    status = main()
    ignore_signals()
    gc.freeze()
    sys.exit(status)


if __name__ == "__main__":
    process()
