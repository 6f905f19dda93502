"""The pin factory: gpiozero on lgpio or libgpiod; its outputs never show a wrong level."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

from controller.outputs.errors import HardwareError, explained, user_name

# Typed loosely, gpiozero ships no types: a gpiozero.Factory.
PinFactory = Any


def open_pin_factory() -> PinFactory:
    """The pin factory that GPIOZERO_PIN_FACTORY names; without it lgpio, and no other.

    With GPIOZERO_PIN_FACTORY=gpiod it is our own, `controller.outputs.gpiod_pins`, which doesn't
    poll; proven in emulation so far, not on a Pi, and therefore to be asked for.

    gpiozero by itself would try four libraries in turn and only warn; a fan is better served by
    an error that names the missing one.

    Raises
    ------
    HardwareError
        If there is none: no library, no GPIO on this machine, or no permission.
    """
    import gpiozero

    name = os.environ.get("GPIOZERO_PIN_FACTORY", "lgpio").lower()
    if name == "gpiod":
        return _open_gpiod()
    if name != "lgpio":
        with explained(f"the pin factory {name!r} that GPIOZERO_PIN_FACTORY names"):
            gpiozero.Device.ensure_pin_factory()
            return gpiozero.Device.pin_factory
    _give_lgpio_a_directory()
    try:
        from controller.outputs import lgpio_pins
    except ImportError as error:
        raise HardwareError(
            f"the GPIO library lgpio is not installed ({error}); on a Raspberry Pi install "
            "lungwort as systemd/INSTALL.md says. Elsewhere try 'lungwort run CONFIG --simulate'"
        ) from error
    except OSError as error:
        raise HardwareError(
            f"the GPIO library lgpio can't work in {os.environ['LG_WD']}: {error.strerror}; "
            "let LG_WD name a directory that this user may write"
        ) from error
    try:
        return lgpio_pins.open_factory()
    except Exception as error:
        raise HardwareError(_why_no_chip(error)) from error


def _open_gpiod() -> PinFactory:
    try:
        from controller.outputs.gpiod_pins import GpiodFactory
    except ImportError as error:
        raise HardwareError(
            f"the Python bindings of libgpiod 2 are not installed ({error}); install lungwort as "
            "systemd/INSTALL.md says, or Debian's package python3-libgpiod. Elsewhere try "
            "'lungwort run CONFIG --simulate'"
        ) from error
    try:
        return GpiodFactory(consumer="lungwort")
    except Exception as error:
        raise HardwareError(_why_no_chip(error)) from error


def _give_lgpio_a_directory() -> None:
    # lgpio leaves its pipes in LG_WD, else in the working directory, and makes that the working
    # directory of the process.  Two processes in one directory would share a pipe.
    if not os.environ.get("LG_WD"):
        os.environ["LG_WD"] = tempfile.mkdtemp(prefix="lungwort-lgpio-")


def _why_no_chip(error: Exception) -> str:
    chips = sorted(Path("/dev").glob("gpiochip*"))
    if not chips:
        return (
            "this machine has no GPIO (there is no /dev/gpiochip0); try 'lungwort run CONFIG "
            "--simulate', or run on a Raspberry Pi"
        )
    if not all(os.access(chip, os.R_OK | os.W_OK) for chip in chips):
        return (
            f"no permission to use {chips[0]}; add {user_name()} to the group gpio: "
            f"sudo usermod -aG gpio {user_name()}, then log in again"
        )
    text = str(error).strip("'\" ")
    return f"the GPIO of this machine can't be used: {text} ({type(error).__name__})"
