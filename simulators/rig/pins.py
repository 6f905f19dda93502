"""The wires of a simulated rig: what the levels on the mock pins do to fan and lamp, and back."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller import pwm_pins
from controller.outputs.failures import runs_undriven

if TYPE_CHECKING:
    from controller.config.sections.fan import DacConfig, FanConfig
    from controller.config.sections.lamp import Lamp


def make_pin_factory() -> Any:
    """Make gpiozero's mock factory with pins that keep no history, so that weeks fit in memory."""
    from gpiozero.pins.mock import MockFactory, MockPWMPin

    class RigPin(MockPWMPin):  # type: ignore[misc]
        """A mock pin that remembers its level only, and can be pulsed."""

        _state: Any

        def clear_states(self) -> None:
            self._last_change = 0.0
            self.states: list[Any] = []

        def _change_state(self, value: Any) -> bool:
            # gpiozero's mock pin calls this; its own keeps a list of all states.
            before = self._state
            self._state = value
            return bool(before != value)

        def pulse(self, count: int) -> None:
            """Let the line fall and rise so many times, seen by whoever counts falling edges."""
            seen = self.when_changed
            if seen is not None:
                for _ in range(count):
                    seen(0.0, False)

    return MockFactory(pin_class=RigPin)


class FanWire:
    """What the fan is told to do, read off its wire.

    A pin that nobody drives is taken as the wiring in the README leaves it: a relay falls back, a
    PWM line is pulled down, which with `active_low` (a transistor on the fan's own wire) is full
    speed.
    """

    def __init__(self, fan: FanConfig, pin_factory: Any, sysfs_root: Path) -> None:
        self._fan = fan
        self._factory = pin_factory
        self._pwm: _PwmFiles | None = None
        self._dac: Path | None = None
        if fan.drive == "dac" and fan.dac is not None:
            self._dac = make_dac_tree(sysfs_root, fan.dac)
        if fan.drive == "hardware_pwm":
            self._pwm = _PwmFiles(make_pwm_tree(sysfs_root, fan.gpio))

    def speed(self) -> float:
        """The speed asked for, 0–1."""
        fan = self._fan
        if self._dac is not None and fan.dac is not None:
            span = fan.dac.raw_full - fan.dac.raw_off
            return min(1.0, max(0.0, (float(self._dac.read_text()) - fan.dac.raw_off) / span))
        pin = _driven(self._factory, fan.gpio)
        if pin is None and self._pwm is not None:
            return self._pwm.speed(fan.active_low)
        if pin is None:
            return float(runs_undriven(fan))
        level = float(pin.state)
        drive = 1.0 - level if fan.active_low else level
        if fan.drive == "relay":
            is_energised = drive >= 0.5
            return float(is_energised is (fan.contact == "normally_open"))
        return min(1.0, max(0.0, drive))

    def close(self) -> None:
        """Let go of the files."""
        if self._pwm is not None:
            self._pwm.close()


class LampWire:
    """Whether the lamp's relay is told to light it."""

    def __init__(self, lamp: Lamp, pin_factory: Any) -> None:
        self._lamp = lamp
        self._factory = pin_factory

    def is_on(self) -> bool:
        """Whether the lamp is lit; a relay nobody drives has fallen back."""
        if self._lamp.pin is None:
            return False
        pin = _driven(self._factory, self._lamp.pin)
        return pin is not None and bool(pin.state) is not self._lamp.active_low


class PhotocellWire:
    """Drives the photocell's pin by the light."""

    def __init__(self, lamp: Lamp, pin_factory: Any) -> None:
        self._lamp = lamp
        self._factory = pin_factory
        self._used = lamp.switched_by == "photocell" and lamp.pin is not None

    def show(self, lit: bool) -> None:
        """Let the photocell see light, or none."""
        if not self._used:
            return
        pin = self._factory.pin(self._lamp.pin)
        if pin.function != "input":
            return
        if lit is not self._lamp.active_low:
            pin.drive_high()
        else:
            pin.drive_low()

    def close(self) -> None:
        """Nothing of its own to let go of."""
        self._used = False


class TachometerWire:
    """Drives the tachometer's pin by the fan."""

    def __init__(self, fan: FanConfig, pin_factory: Any) -> None:
        self._tachometer = fan.tachometer
        self._factory = pin_factory
        self._turned_s: float | None = None
        self._owed = 0.0

    def turn(self, now_s: float, rpm: float) -> None:
        """Give the pulses since the last call, at a speed [1/min]."""
        if self._tachometer is None:
            return
        since_s, self._turned_s = self._turned_s, now_s
        if since_s is None:
            return
        pin = self._factory.pin(self._tachometer.pin)
        if pin.function != "input":
            return
        self._owed += (now_s - since_s) * rpm / 60.0 * self._tachometer.pulses_per_turn
        pulses = int(self._owed)
        self._owed -= pulses
        pin.pulse(pulses)
        pin.clear_states()  # a mock pin remembers every edge, for tests

    def close(self) -> None:
        """Nothing of its own to let go of."""
        self._tachometer = None


class CurrentSwitchWire:
    """Drives the current switch's pin by the fan."""

    def __init__(self, fan: FanConfig, pin_factory: Any) -> None:
        self._switch = fan.current_switch
        self._factory = pin_factory

    def show(self, runs: bool) -> None:
        """Let current flow, or none."""
        if self._switch is None:
            return
        pin = self._factory.pin(self._switch.pin)
        if pin.function != "input":
            return
        if runs is self._switch.active_low:
            pin.drive_low()
        else:
            pin.drive_high()
        pin.clear_states()


def _driven(factory: Any, number: int) -> Any | None:
    """The mock pin, if something drives it."""
    pin = factory.pin(number)
    return pin if pin.function == "output" else None


def make_pwm_tree(root: Path, pin: int) -> Path:
    """Lay out the part of /sys that drives a GPIO by hardware; gives the channel's directory."""
    block = next(block for block in pwm_pins.BLOCKS if pin in block.pins)
    channel = block.pins[pin].channel
    device = root / "devices" / block.example
    device.mkdir(parents=True)
    chip = root / "class" / "pwm" / "pwmchip0"
    directory = chip / f"pwm{channel}"
    directory.mkdir(parents=True)
    (chip / "device").symlink_to(device)
    for name, text in (("npwm", "4"), ("export", ""), ("unexport", "")):
        (chip / name).write_text(text, "ascii")
    for name, text in (
        ("period", "0"),
        ("duty_cycle", "0"),
        ("enable", "0"),
        ("polarity", "normal"),
    ):
        (directory / name).write_text(text, "ascii")
    return directory


def make_dac_tree(root: Path, dac: DacConfig) -> Path:
    """Lay out the part of /sys that is a fan's converter; gives the file that sets its voltage."""
    device = root / "bus" / "iio" / "devices" / "iio:device9"
    device.mkdir(parents=True)
    (device / "name").write_text(f"{dac.device}\n", "ascii")
    raw = device / f"out_voltage{dac.channel}_raw"
    raw.write_text("0\n", "ascii")
    return raw


class _PwmFiles:
    """The attributes of a PWM channel, held open: they are read at every tick."""

    def __init__(self, directory: Path) -> None:
        names = ("period", "duty_cycle", "enable", "polarity")
        self._files = {name: os.open(directory / name, os.O_RDONLY) for name in names}

    def speed(self, active_low: bool) -> float:
        """The speed asked for, 0–1; a channel that is stopped holds its pin low."""
        period = self._number("period")
        if self._number("enable") < 1.0 or period <= 0.0:
            return float(active_low)
        duty = min(1.0, self._number("duty_cycle") / period)
        return 1.0 - duty if active_low is not (self._text("polarity") == "inversed") else duty

    def close(self) -> None:
        """Let go of the files."""
        while self._files:
            os.close(self._files.popitem()[1])

    def _text(self, name: str) -> str:
        # A plain file, unlike the kernel's, keeps the tail of a longer number written before.
        return os.pread(self._files[name], 32, 0).decode("ascii").partition("\n")[0].strip()

    def _number(self, name: str) -> float:
        return float(self._text(name) or 0.0)
