"""Errors of hardware that can't be used, with what to do about them."""

from __future__ import annotations

import contextlib
import errno
import getpass
from collections.abc import Iterator

from controller.errors import UserError


class HardwareError(UserError):
    """A pin, a PWM channel or the whole GPIO can't be used; ends a command with status 3."""

    def __init__(self, message: str) -> None:
        super().__init__(message, status=3)


def user_name() -> str:
    """The user that runs this process, for messages."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "this user"


@contextlib.contextmanager
def explained(what: str) -> Iterator[None]:
    """Turn what GPIO libraries raise within into a `HardwareError`.

    Parameters
    ----------
    what : str
        The line in use, such as "the fan on GPIO 18".
    """
    try:
        yield
    except UserError:
        raise
    except Exception as error:
        raise HardwareError(f"{what}: {_advice(error)}") from error


def _advice(error: Exception) -> str:
    text = str(error).strip("'\" ")
    kind = type(error).__name__
    if "busy" in text.lower() or kind == "GPIOPinInUse" or _errno(error) == errno.EBUSY:
        return (
            "the pin is in use by another program or by a kernel overlay; 'gpioinfo' tells by "
            "whom, overlays stand in /boot/firmware/config.txt"
        )
    if _errno(error) in (errno.EACCES, errno.EPERM):
        return (
            f"no permission ({text}); add {user_name()} to the group gpio: "
            f"sudo usermod -aG gpio {user_name()}, then log in again"
        )
    if kind == "PinPWMUnsupported":
        return "this pin library can't do PWM; set GPIOZERO_PIN_FACTORY=lgpio"
    if kind == "PinInvalidPin":
        return f"this board has no such pin ({text})"
    return f"{text or kind} ({kind})"


def _errno(error: Exception) -> int | None:
    return error.errno if isinstance(error, OSError) else None
