"""`lungwort new`: ask a handful of questions, and write a config that can be used."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from controller.commands.arguments import HelpPage, complete_files
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.new_config.answers import NewConfig

NEW_HELP = "ask a handful of questions and write a first config"
NEW_DESCRIPTION = """\
Write a first config for your tent. A handful of questions is asked at the terminal, each with a
default, which an empty line takes, and a reason. What an option answers is not asked; with --yes
nothing is, and the defaults stand for what no option answers. The config is commented, passes
'lungwort check', and is meant to be edited. A file that is there already is never overwritten.
"""
_EPILOG = """\
examples:
  lungwort new tent.yaml
  lungwort new tent.yaml --yes --size '34 in x 34 in x 70 in' --units us \\
      --lamp-power '140 W' --fan-drive hardware_pwm --fan-flow '105 cfm'

exit status: 0 written, 1 it can't be written, or is there already, 2 an answer doesn't fit, 130
stopped by Ctrl-C; then nothing is written.
"""
# By flag: these words are fixed here, so that --help needs no config's model.
_CHOICES = {
    "units": ("si", "us"),
    "fan_drive": ("relay", "pwm", "hardware_pwm", "dac"),
    "sensor": (
        *("sht4x", "sht3x", "bme280", "aht20", "hdc100x", "scd41"),
        *("dht22", "dht22_kernel"),
    ),
    "crop": ("pepper", "tomato", "lettuce", "basil", "herbs", "other"),
    "stage": ("seedling", "vegetative", "flowering", "fruiting"),
}
_FLAGS = {
    "units": "units shown to you",
    "timezone": "IANA zone of the lamp's hours, e.g. Europe/Rome",
    "size": "inside: width x depth x height, e.g. '70 x 70 x 150 cm'",
    "lamp_power": "what the lamp draws, e.g. '120 W'",
    "lights_on": "local clock time, e.g. 06:00 or 6am",
    "lights_off": "local clock time; before lights-on: across midnight",
    "fan_drive": "how the fan is driven",
    "fan_pin": "its GPIO, BCM number",
    "fan_flow": "its flow with nothing attached, e.g. '110 cfm', or unknown",
    "sensor": "what measures the air in the tent",
    "sensor_pin": "GPIO of a dht22",
    "crop": "what grows",
    "plants": "how many plants",
    "stage": "how far they are",
}

# More choices than these are listed in the help, since argparse can't break a line of braces.
_MOST_IN_BRACES = 6


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Declare the command and its options."""
    parser = subparsers.add_parser(
        "new",
        help=NEW_HELP,
        description=NEW_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=HelpPage,
    )
    complete_files(
        parser.add_argument("file", metavar="FILE", type=Path, help="the config to write")
    )
    parser.add_argument(
        "--yes", action="store_true", help="ask nothing, take the defaults for what is not given"
    )
    answers = parser.add_argument_group("answers")
    answers.add_argument(
        "--name", metavar="NAME", help="what to call the tent (default: as the file)"
    )
    for key, text in _FLAGS.items():
        flag, choices = f"--{key.replace('_', '-')}", _CHOICES.get(key)
        if choices is None:
            answers.add_argument(flag, metavar=flag.rpartition("-")[2].upper(), help=text)
        elif len(choices) > _MOST_IN_BRACES:
            text = f"{text}: {', '.join(choices)}"
            answers.add_argument(flag, choices=choices, metavar=key.upper(), help=text)
        else:
            answers.add_argument(flag, choices=choices, help=text)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Ask, check and write."""
    from controller.commissioning.talk import terminal_is_there

    if not args.yes and not terminal_is_there():
        raise UserError(
            "there is no terminal to ask at; give --yes, and an option for each answer that is not "
            "the default ('lungwort new --help')",
            status=2,
        )
    try:
        _refuse_existing(args.file)
        new = _gather(args)
        _write(args.file, new.text)
    except KeyboardInterrupt:
        print("\nlungwort: stopped; nothing was written", file=sys.stderr)
        return 130
    _tell_what_next(args.file, new)
    return 0


def _gather(args: argparse.Namespace) -> NewConfig:
    from controller.new_config.answers import ask, build, check_given, complete

    given = {key: getattr(args, key) for key in _FLAGS if getattr(args, key) is not None}
    given["name"] = args.name or args.file.stem or "tent"
    defaults = {"units": units_of_locale(os.environ), "timezone": machine_zone(os.environ)}
    given = check_given(given, defaults)
    if args.yes:
        answers = complete(given, defaults)
    else:
        print("An empty line takes the answer in brackets. Ctrl-C stops, and nothing is written.")
        answers = ask(given, defaults, input, print)
        print()
    return build(answers)


def units_of_locale(environment: os._Environ[str] | dict[str, str]) -> str:
    """The units of the person's locale."""
    names = (environment.get(name, "") for name in ("LC_ALL", "LC_MEASUREMENT", "LANG"))
    return "us" if next(filter(None, names), "").startswith("en_US") else "si"


def machine_zone(
    environment: os._Environ[str] | dict[str, str], localtime: Path = Path("/etc/localtime")
) -> str:
    """This machine's time zone, UTC where it does not say."""
    import zoneinfo

    linked = os.path.realpath(localtime).partition("zoneinfo/")[2]
    for name in (environment.get("TZ", "").lstrip(":"), linked):
        if name in zoneinfo.available_timezones():
            return name
    return "UTC"


def _refuse_existing(path: Path) -> None:
    """Said before the questions rather than after them."""
    if path.exists() or path.is_symlink():
        raise UserError(f"{path} is there already and stays as it is; name another file")
    if not path.parent.is_dir():
        raise UserError(f"there is no folder {path.parent} to write {path.name} in")
    if not os.access(path.parent, os.W_OK):
        raise UserError(f"cannot write in the folder {path.parent}")


def _write(path: Path, text: str) -> None:
    """Write a file that isn't there yet, whole or not at all."""
    try:
        with path.open("x", encoding="utf-8") as file:
            try:
                file.write(text)
                file.flush()
            except BaseException:
                path.unlink()
                raise
    except FileExistsError:
        _refuse_existing(path)
        raise
    except OSError as error:
        raise UserError(f"cannot write {path}: {error.strerror}") from error


def _tell_what_next(path: Path, new: NewConfig) -> None:
    import shlex

    for warning in new.loaded.warnings:
        expected = f"; expected {warning.expected}" if warning.expected else ""
        print(f"{path}:{warning.line}: note: {warning.message}{expected}", file=sys.stderr)
    name = shlex.quote(str(path))
    print(
        f"Written: {path}. It is a beginning: look through it, then\n"
        f"  lungwort check {name}      what it means, on a day\n"
        f"  lungwort size {name}       whether the fan is strong enough\n"
        f"  lungwort rehearse {name}   how the tent would do, nothing wired\n"
        f"  lungwort wiring {name}     what goes to which pin, with the cautions"
    )
