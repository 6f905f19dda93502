"""PWM through the kernel's /sys/class/pwm: the Pi's own, or pulses that the kernel itself times.

Interface: Linux kernel, Documentation/driver-api/pwm.rst, "Using PWMs with the sysfs interface";
for pulses that the kernel times also Documentation/devicetree/bindings/pwm/pwm-gpio.yaml (from
memory).
"""

from __future__ import annotations

import errno
import os
import re
import time
from collections.abc import Callable
from pathlib import Path

from controller import pwm_pins
from controller.outputs.errors import HardwareError, user_name

PWM_ROOT = Path("/sys/class/pwm")
_NS_PER_S = 1_000_000_000
# How long udev may take to give a fresh channel to the group gpio.
_UDEV_PATIENCE_S = 2.0
_UDEV_STEP_S = 0.02


def find_channel(pin: int, root: Path = PWM_ROOT) -> tuple[Path, int]:
    """Find the chip and channel behind a GPIO.

    Parameters
    ----------
    pin : int
        GPIO number.
    root : pathlib.Path
        Where the kernel lists its PWM chips.

    Returns
    -------
    tuple of (pathlib.Path, int)
        The chip's directory and the channel on it.

    Raises
    ------
    HardwareError
        If this GPIO has no hardware PWM, or the kernel doesn't offer it.
    """
    chips = sorted(root.glob("pwmchip*"))
    others = []
    for chip in chips:
        name = _device_name(chip)
        for block in pwm_pins.BLOCKS:
            if re.fullmatch(block.device, name):
                if pin not in block.pins:
                    pins = ", ".join(str(known) for known in sorted(block.pins))
                    raise HardwareError(
                        f"GPIO {pin} has no hardware PWM on this Pi; wire the fan to one of GPIO "
                        f"{pins}, or use drive: pwm"
                    )
                return chip, block.pins[pin].channel
        others.append(f"{chip.name} ({name})")
    function = next((b.pins[pin].function for b in pwm_pins.BLOCKS if pin in b.pins), None)
    if function is None:
        raise HardwareError(
            f"GPIO {pin} has no hardware PWM on any Pi; wire the fan to GPIO {pwm_pins.CHOICE}, or "
            "use drive: pwm"
        )
    only = f"; found only {', '.join(others)}" if others else ""
    raise HardwareError(
        f"the kernel offers no hardware PWM for GPIO {pin}{only}; add the line "
        f"'dtoverlay=pwm,pin={pin},func={function}' to /boot/firmware/config.txt, take out "
        "'dtparam=audio=on', and restart (see pwm in /boot/firmware/overlays/README)"
    )


def find_timed_channel(pin: int, root: Path = PWM_ROOT) -> tuple[Path, int] | None:
    """Find the chip whose pulses on a GPIO the kernel times, by the overlay `pwm-gpio`.

    Parameters
    ----------
    pin : int
        GPIO number.
    root : pathlib.Path
        Where the kernel lists its PWM chips.

    Returns
    -------
    tuple of (pathlib.Path, int) or None
        The chip's directory and the channel on it, of which it has one; None without the overlay.
    """
    for chip in sorted(root.glob("pwmchip*")):
        node = chip / "device" / "of_node"
        try:
            kinds = (node / "compatible").read_bytes().split(b"\0")
            cells = (node / "gpios").read_bytes()  # handle of the chip, line, flags: 32 bits each
        except OSError:
            continue
        if b"pwm-gpio" in kinds and int.from_bytes(cells[4:8], "big") == pin:
            return chip, 0
    return None


def _device_name(chip: Path) -> str:
    try:
        return (chip / "device").resolve(strict=True).name
    except OSError:
        return "no device"


class PwmChannel:
    """One channel, running.

    Opening takes over a channel that runs already without a gap, if its period and polarity are
    right; otherwise it is stopped, set up anew and started: period before duty, since the kernel
    refuses a duty longer than the period, and polarity while it is stopped.

    Parameters
    ----------
    pin : int
        GPIO number.
    frequency_hz : float
        Pulses a second.
    active_low : bool
        Whether a low level drives the fan: inverted by the hardware where it can be, else by
        counting the duty from the other end.
    duty : float
        Duty from the first pulse, 0-1.
    root : pathlib.Path
        Where the kernel lists its PWM chips.
    at : tuple of (pathlib.Path, int), optional
        Chip and channel; without it the hardware behind this GPIO.
    wait : callable
        Waits so many seconds, for udev; tests hand in their own.

    Raises
    ------
    HardwareError
        If there is no such channel, or no permission.
    """

    def __init__(
        self,
        pin: int,
        *,
        frequency_hz: float,
        active_low: bool,
        duty: float,
        root: Path = PWM_ROOT,
        at: tuple[Path, int] | None = None,
        wait: Callable[[float], object] = time.sleep,
    ) -> None:
        self._name = f"the fan's {'hardware PWM' if at is None else 'PWM'} on GPIO {pin}"
        self._period_ns = round(_NS_PER_S / frequency_hz)
        self._chip, self._channel = find_channel(pin, root) if at is None else at
        self._directory = self._chip / f"pwm{self._channel}"
        self._wait = wait
        self._active_low = active_low
        self._counts_down = False
        self._is_begun = False
        self._is_closed = False
        self.set_duty(duty)

    def set_duty(self, duty: float) -> None:
        """Set the share of each pulse that drives the fan, 0-1.

        A channel that something else stopped is started again, one that it took away opened anew.
        """
        if self._is_closed:
            raise HardwareError(f"{self._name} is closed")
        try:
            if self._is_begun and self._read("enable") == "1":
                self._write("duty_cycle", self._duty_ns(duty))
            else:
                self._export()
                self._start(duty)
                self._is_begun = True
        except OSError as error:
            raise self._explained(error) from error

    def stop(self) -> None:
        """Leave the channel as the kernel has it before anybody starts it; `set_duty` starts it.

        The polarity too: a stopped channel that is inverted may hold its pin high.
        """
        try:
            self._write("enable", 0)
            self._write("duty_cycle", 0)
            self._set_polarity("normal")
        except OSError as error:
            raise self._explained(error) from error

    def close(self) -> None:
        """Close the channel, which keeps running; may be called again."""
        self._is_closed = True

    def _duty_ns(self, duty: float) -> int:
        duty_ns = round(self._period_ns * duty)
        return self._period_ns - duty_ns if self._counts_down else duty_ns

    def _export(self) -> None:
        if not self._directory.is_dir():
            try:
                _write(self._chip / "export", str(self._channel))
            except OSError as error:
                # Perhaps exported by another process; a channel of a driver has no directory.
                if error.errno != errno.EBUSY or not self._directory.is_dir():
                    raise
        waited_s = 0.0
        while not os.access(self._directory / "duty_cycle", os.W_OK):
            if waited_s >= _UDEV_PATIENCE_S:
                number = errno.EACCES if self._directory.is_dir() else errno.ENOENT
                raise OSError(number, os.strerror(number), str(self._directory / "duty_cycle"))
            self._wait(_UDEV_STEP_S)
            waited_s += _UDEV_STEP_S

    def _start(self, duty: float) -> None:
        active_low = self._active_low
        polarity = "inversed" if active_low else "normal"
        runs = self._read("enable") == "1"
        if runs and self._is_set_up(polarity):
            self._counts_down = active_low and self._read("polarity") != "inversed"
            self._write("duty_cycle", self._duty_ns(duty))
            return
        if runs:
            self._write("enable", 0)
        if self._read("duty_cycle") != "0":
            self._write("duty_cycle", 0)
        self._write("period", self._period_ns)
        self._counts_down = not self._set_polarity(polarity) and active_low
        self._write("duty_cycle", self._duty_ns(duty))
        self._write("enable", 1)

    def _is_set_up(self, polarity: str) -> bool:
        has = self._read("polarity")
        return self._read("period") == str(self._period_ns) and has in (polarity, "")

    def _set_polarity(self, polarity: str) -> bool:
        """Whether the hardware took the polarity; not every chip can be inverted."""
        if self._read("polarity") == polarity:
            return True
        try:
            self._write("polarity", polarity)
        except OSError as error:
            if error.errno not in (errno.EINVAL, errno.EOPNOTSUPP, errno.ENOENT, errno.ENOSYS):
                raise
            return False
        return True

    def _read(self, name: str) -> str:
        try:
            return (self._directory / name).read_text(encoding="ascii").partition("\n")[0]
        except FileNotFoundError:
            return ""

    def _write(self, name: str, value: int | str) -> None:
        _write(self._directory / name, str(value))

    def _explained(self, error: OSError) -> HardwareError:
        if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            return HardwareError(
                f"{self._name}: no permission to write {error.filename}; the udev rule and the "
                f"unit's ReadWritePaths of systemd/INSTALL.md give it to the group gpio, and "
                f"{user_name()} must be in that group"
            )
        if error.errno == errno.EBUSY:
            return HardwareError(
                f"{self._name} is in use by another driver, often the headphone jack: take "
                "'dtparam=audio=on' out of /boot/firmware/config.txt and restart"
            )
        return HardwareError(f"{self._name}: {error.strerror} ({error.filename})")


def _write(path: Path, text: str) -> None:
    # Not Path.write_text, which would create a file that the kernel doesn't offer.
    descriptor = os.open(path, os.O_WRONLY | os.O_TRUNC | os.O_CLOEXEC)
    try:
        os.write(descriptor, text.encode("ascii"))
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error
    finally:
        os.close(descriptor)
