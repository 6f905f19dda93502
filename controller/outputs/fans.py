"""The wires to a fan: a relay, PWM timed by software, PWM made by the hardware."""

from __future__ import annotations

import contextlib
import math
from typing import Any

from controller.outputs.errors import explained
from controller.outputs.gpio import PinFactory
from controller.outputs.sysfs_pwm import PwmChannel

# lgpio times PWM by software: its documented limit, and whole percents of duty.
SOFTWARE_PWM_LIMIT_HZ = 10_000.0


def _leave(pin: Any) -> None:
    """Make a line an input without a pull: the wiring alone sets its level."""
    from gpiozero import PinFixedPull

    pin.function = "input"
    with contextlib.suppress(PinFixedPull):  # GPIO 2 and 3 have a resistor on the board
        pin.pull = "floating"


def _checked(speed: float) -> float:
    if not 0.0 <= speed <= 1.0:
        raise ValueError(f"a fan speed must lie in 0 to 1, got: {speed}")
    return speed


class RelayFan:
    """A fan on a relay: any speed above 0 is on.

    Parameters
    ----------
    pin : int
        GPIO of the relay.
    active_low : bool
        Whether a low level energises the relay.
    normally_closed : bool
        Whether the fan hangs on the contact that opens when the relay is energised; such a fan
        runs when nothing drives the relay.
    speed : float
        State from the first instant, 0-1.
    pin_factory : gpiozero.Factory
        Where the pin is.
    """

    def __init__(
        self,
        pin: int,
        *,
        active_low: bool,
        normally_closed: bool,
        speed: float,
        pin_factory: PinFactory,
    ) -> None:
        from gpiozero import OutputDevice

        self._name = f"the fan's relay on GPIO {pin}"
        # Low energises: on is low.  Energised is off: the other way round.
        self._on_is_high = active_low is normally_closed
        self._is_released = False
        is_on = _checked(speed) > 0.0
        with explained(self._name):
            self._relay: Any = OutputDevice(
                pin,
                active_high=self._on_is_high,
                initial_value=is_on,
                pin_factory=pin_factory,
            )

    def apply(self, speed: float) -> None:
        """Switch the fan at every call, which corrects a line that something else changed."""
        is_on = _checked(speed) > 0.0
        with explained(self._name):
            if self._is_released:
                self._relay.pin.output_with_state(is_on is self._on_is_high)
                self._is_released = False
            self._relay.value = is_on

    def release(self) -> None:
        """Stop driving the relay: it is released, if the wiring does that."""
        with explained(self._name):
            _leave(self._relay.pin)
        self._is_released = True

    def close(self) -> None:
        """Release the pin; the kernel keeps its level."""
        self._relay.close()


class SoftwarePwmFan:
    """A fan on PWM timed by software: off and full speed are steady levels, the rest pulses.

    The pulses end with this process.  So closing at any speed between leaves the fan at full.

    Parameters
    ----------
    pin : int
        GPIO of the PWM line.
    frequency_hz : float
        Pulses a second, at most 10 000 on real pins.
    active_low : bool
        Whether a low level drives the fan.
    speed : float
        State from the first instant, 0-1.
    pin_factory : gpiozero.Factory
        Where the pin is.
    """

    def __init__(
        self,
        pin: int,
        *,
        frequency_hz: float,
        active_low: bool,
        speed: float,
        pin_factory: PinFactory,
    ) -> None:
        from gpiozero import OutputDevice

        self._name = f"the fan's PWM on GPIO {pin}"
        self._frequency_hz = frequency_hz
        self._active_low = active_low
        self._percent: int | None = None
        self._is_released = False
        is_on = _checked(speed) > 0.0
        with explained(self._name):
            # A steady level first, so that an inverted line doesn't flash.
            self._line: Any = OutputDevice(
                pin,
                active_high=not active_low,
                initial_value=is_on,
                pin_factory=pin_factory,
            )
        try:
            self.apply(speed)
        except BaseException:
            self._line.close()
            raise

    def apply(self, speed: float) -> None:
        """Set the speed, in whole percents; nothing is done when it is set already."""
        percent = round(_checked(speed) * 100.0)
        if percent == self._percent:
            return
        pin = self._line.pin
        with explained(self._name):
            if self._is_released:
                pin.output_with_state((percent > 0) is not self._active_low)
                self._is_released = False
            if percent in (0, 100):
                if pin.frequency is not None:
                    pin.frequency = None
                self._line.value = percent == 100
            else:
                if pin.frequency is None:
                    pin.frequency = self._frequency_hz
                pin.state = _duty(100 - percent if self._active_low else percent)
        self._percent = percent

    def release(self) -> None:
        """Stop driving the line: its pull resistor sets the level."""
        with explained(self._name):
            if self._line.pin.frequency is not None:
                self._line.pin.frequency = None
            _leave(self._line.pin)
        self._percent, self._is_released = None, True

    def close(self) -> None:
        """Release the pin; a fan on software PWM goes to full speed first."""
        if not self._is_released and self._percent not in (0, 100):
            self.apply(1.0)
        self._line.close()


def _duty(percent: int) -> float:
    """The fraction that lgpio's pin, which truncates, turns into exactly this percentage."""
    duty = percent / 100
    return duty if int(duty * 100) == percent else math.nextafter(duty, 1.0)


class HardwarePwmFan:
    """A fan on the Pi's own PWM: exact at 25 kHz, and it goes on when this process ends.

    Parameters
    ----------
    channel : PwmChannel
        The channel, opened.
    """

    def __init__(self, channel: PwmChannel) -> None:
        self._channel = channel

    def apply(self, speed: float) -> None:
        """Set the speed at every call, which corrects a channel that something else changed."""
        self._channel.set_duty(_checked(speed))

    def release(self) -> None:
        """Stop the channel, as the kernel leaves it until the first tick: the pin is low."""
        self._channel.stop()

    def close(self) -> None:
        """Close the channel; it keeps its duty."""
        self._channel.close()


class TimedPwmFan(HardwarePwmFan):
    """A fan whose pulses the kernel times: what `SoftwarePwmFan` is, without its wake-ups.

    Pulses of the kernel go on when this process ends.  So that a config means the same whoever
    times them, closing at any speed between off and full leaves the fan at full all the same.
    """

    def __init__(self, channel: PwmChannel, speed: float) -> None:
        super().__init__(channel)
        self._speed: float | None = speed

    def apply(self, speed: float) -> None:
        """Set the speed at every call."""
        super().apply(speed)
        self._speed = speed

    def release(self) -> None:
        """Stop the pulses: the pin is low."""
        super().release()
        self._speed = None

    def close(self) -> None:
        """Close the channel; a fan between off and full goes to full speed first."""
        if self._speed is not None and 0.0 < self._speed < 1.0:
            self.apply(1.0)
        super().close()
