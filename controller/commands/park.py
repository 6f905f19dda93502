"""`lungwort park`: leave fan and lamp in a state that can be left alone, without a daemon."""

from __future__ import annotations

import argparse

from controller.commands.arguments import HelpPage, add_config

PARK_HELP = "leave fan and lamp in a safe state when no daemon runs"
PARK_DESCRIPTION = """\
Set the fan and a lamp that lungwort switches to the state in which a tent can be left alone, and
let go of their pins. systemd calls this whenever the daemon has ended, however it ended.

A lamp that lungwort switches is switched off, always. After a fault the fan is left at the
failsafe speed. After a stop on purpose it is left off if the lamp was switched off with it; with a
lamp on a timer of its own it is left at the failsafe speed, since that lamp goes on heating.

The wires are those that the daemon last drove, where the unit keeps them (LUNGWORT_PARKING_FILE),
else those of CONFIG. While a daemon runs nothing is touched (exit status 4).

Switching off by software is no protection: unplug lamp and fan before you touch their wiring.
"""

_EXAMPLES = """\
examples:
  lungwort park /etc/lungwort/chillies.yaml          as after systemctl stop
  lungwort park --off /etc/lungwort/chillies.yaml    before the plugs are pulled
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "park",
        help=PARK_HELP,
        description=PARK_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    state = parser.add_mutually_exclusive_group()
    state.add_argument(
        "--after",
        choices=("stop", "fault"),
        help="what ended the daemon; by default what systemd says ($SERVICE_RESULT), else stop",
    )
    state.add_argument(
        "--off", action="store_true", help="fan and lamp off, whatever the config says"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    import contextlib

    from controller.daemon.control_socket import runtime_directory
    from controller.display import speed as speed_words
    from controller.locks import claim_pins
    from controller.outputs import park, parking
    from controller.outputs.iio_dac import converter_name

    plan = parking.saved()
    if plan is None:
        from controller.config import load_settings

        plan = parking.ParkingPlan.from_settings(load_settings(args.config).settings)
    if args.off:
        speed = 0.0
    elif (args.after or _what_ended()) == "fault":
        speed = plan.speed_after_fault
    else:
        speed = plan.speed_after_stop
    with contextlib.ExitStack() as claims:
        claims.enter_context(claim_pins(runtime_directory(), "gpio", plan.pins))
        dac = plan.fan.dac
        if dac is not None:
            name = converter_name(dac.device, dac.channel)
            claims.enter_context(claim_pins(runtime_directory(), name, [dac.channel]))
        park(plan, speed)
        parking.forget()
    lamp = "" if plan.lamp is None else ", lamp off"
    if speed:
        print(f"The fan is left at {speed_words(speed)}{lamp}.")
    elif plan.lamp is None:
        print("The fan is off. A lamp on a timer of its own goes on heating: unplug it, or stay.")
    else:
        print(f"The fan is off{lamp}.")
    return 0


def _what_ended() -> str:
    """What systemd tells an ExecStopPost of the end of the service (systemd.exec(5))."""
    import os

    return "stop" if os.environ.get("SERVICE_RESULT", "success") == "success" else "fault"
