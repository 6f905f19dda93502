"""From the settings to opened outputs, and back to a state that can be left alone."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from controller.outputs import parking
from controller.outputs.current_switch import CurrentSwitch
from controller.outputs.errors import HardwareError
from controller.outputs.fans import (
    SOFTWARE_PWM_LIMIT_HZ,
    HardwarePwmFan,
    RelayFan,
    SoftwarePwmFan,
    TimedPwmFan,
)
from controller.outputs.gpio import PinFactory, open_pin_factory
from controller.outputs.iio_dac import IIO_ROOT, DacFan
from controller.outputs.lamps import LampRelay, Photocell
from controller.outputs.sysfs_pwm import PWM_ROOT, PwmChannel, find_timed_channel
from controller.outputs.tachometer import Tachometer

if TYPE_CHECKING:
    from controller.config import Settings


class FanOutput(Protocol):
    """The wire to a fan."""

    def apply(self, speed: float) -> None:
        """Set the speed, 0-1; cheap when unchanged."""

    def release(self) -> None:
        """Drive the wire no longer, as before the first tick; the next `apply` does again."""

    def close(self) -> None:
        """Release the pin."""


class LampOutput(Protocol):
    """The wire to a lamp's relay."""

    def apply(self, on: bool) -> None:
        """Switch the lamp; cheap when unchanged."""

    def close(self) -> None:
        """Release the pin."""


@dataclass(slots=True)
class Outputs:
    """The opened outputs of one tent; None for what it hasn't.

    Attributes
    ----------
    fan : FanOutput
        The fan.
    lamp : LampOutput or None
        The lamp's relay, where the controller switches the lamp.
    photocell : Photocell or None
        Sees the lamp, where there is one.
    tachometer : Tachometer or None
        Measures the fan, where there is one.
    current_switch : CurrentSwitch or None
        Sees whether the fan draws current, where there is one.
    parked_speed : float
        Fan speed that `close` leaves behind, 0-1.
    """

    fan: FanOutput
    lamp: LampOutput | None
    photocell: Photocell | None
    tachometer: Tachometer | None
    current_switch: CurrentSwitch | None
    parked_speed: float
    _close_factory: Callable[[], object] = field(default=lambda: None, repr=False)
    _is_closed: bool = field(default=False, init=False, repr=False)

    def close(self) -> None:
        """Set the lamp dark and the fan to `parked_speed`, and release both; may be called again.

        Raises
        ------
        HardwareError
            If an output failed; the others are parked and released all the same.
        """
        if self._is_closed:
            return
        self._is_closed = True
        with contextlib.ExitStack() as stack:  # runs bottom up, whatever fails
            stack.callback(self._close_factory)
            inputs = (self.current_switch, self.tachometer, self.photocell)
            for part in (*inputs, self.lamp, self.fan):
                if part is not None:
                    stack.callback(part.close)
            stack.callback(self.fan.apply, self.parked_speed)
            if self.lamp is not None:
                stack.callback(self.lamp.apply, False)


def open_outputs(
    settings: Settings,
    *,
    pin_factory: PinFactory | None = None,
    pwm_root: Path | None = PWM_ROOT,
    iio_root: Path = IIO_ROOT,
    fan_speed: float | None = None,
    lamp_on: bool = False,
) -> Outputs:
    """Open every output of a tent, each with the right level from its first instant.

    Parameters
    ----------
    settings : Settings
        The tent's settings.
    pin_factory : gpiozero.Factory, optional
        Where the pins are; without it this machine's own, which `Outputs.close` closes too.
    pwm_root : pathlib.Path or None
        Where the kernel lists its PWM chips; None for a machine without (a simulated one), whose
        hardware PWM is then left to the pin factory.
    iio_root : pathlib.Path
        Where the kernel lists its industrial I/O, converters among them.
    fan_speed : float, optional
        Speed until the first `apply`, 0-1; the failsafe speed when not given.
    lamp_on : bool
        State of a switched lamp, until the first `apply`.

    Raises
    ------
    HardwareError
        If a pin can't be used; those opened before are released.
    """
    plan = parking.ParkingPlan.from_settings(settings)
    speed = settings.failsafe.speed if fan_speed is None else fan_speed
    tachometer_wiring = settings.fan.tachometer
    switch_wiring = settings.fan.current_switch
    tachometer = photocell = current_switch = None
    with contextlib.ExitStack() as stack:
        pin_factory, close_factory = _factory(pin_factory, stack)
        fan, lamp = _open_driven(plan, speed, lamp_on, pin_factory, pwm_root, iio_root, stack)
        if settings.lamp.switched_by == "photocell" and settings.lamp.pin is not None:
            photocell = Photocell(
                settings.lamp.pin, active_low=settings.lamp.active_low, pin_factory=pin_factory
            )
            stack.callback(photocell.close)
        if tachometer_wiring is not None:
            tachometer = Tachometer(
                tachometer_wiring.pin,
                pulses_per_turn=tachometer_wiring.pulses_per_turn,
                pin_factory=pin_factory,
            )
            stack.callback(tachometer.close)
        if switch_wiring is not None:
            current_switch = CurrentSwitch(
                switch_wiring.pin, active_low=switch_wiring.active_low, pin_factory=pin_factory
            )
        stack.pop_all()
    parking.save(plan)
    return Outputs(
        fan, lamp, photocell, tachometer, current_switch, plan.speed_after_stop, close_factory
    )


def park(
    plan: parking.ParkingPlan,
    speed: float,
    *,
    pin_factory: PinFactory | None = None,
    pwm_root: Path | None = PWM_ROOT,
    iio_root: Path = IIO_ROOT,
) -> None:
    """Park a fan at a speed and a switched lamp dark, without a daemon.

    Parameters
    ----------
    plan : parking.ParkingPlan
        The wires.
    speed : float
        Fan speed, 0-1.
    pin_factory, pwm_root, iio_root
        As for `open_outputs`.

    Raises
    ------
    HardwareError
        If a pin can't be had.
    """
    with contextlib.ExitStack() as stack:
        pin_factory, _ = _factory(pin_factory, stack)
        _open_driven(plan, speed, False, pin_factory, pwm_root, iio_root, stack)


def _factory(
    given: PinFactory | None, stack: contextlib.ExitStack
) -> tuple[PinFactory, Callable[[], object]]:
    if given is not None:
        return given, _nothing
    factory = open_pin_factory()
    stack.callback(factory.close)
    return factory, factory.close


def _nothing() -> None:
    pass


def _open_driven(
    plan: parking.ParkingPlan,
    speed: float,
    lamp_on: bool,
    pin_factory: PinFactory,
    pwm_root: Path | None,
    iio_root: Path,
    stack: contextlib.ExitStack,
) -> tuple[FanOutput, LampOutput | None]:
    """Open fan and lamp; the fan first, it is what matters most."""
    if plan.fan.dac is not None:
        fan: FanOutput = DacFan(plan.fan.dac, speed=speed, root=iio_root)
    else:
        assert plan.fan.pin is not None
        fan = _open_fan(plan.fan, plan.fan.pin, speed, pin_factory, pwm_root)
    stack.callback(fan.close)
    if plan.lamp is None:
        return fan, None
    lamp = LampRelay(
        plan.lamp.pin, active_low=plan.lamp.active_low, on=lamp_on, pin_factory=pin_factory
    )
    stack.callback(lamp.close)
    return fan, lamp


def _open_fan(
    wiring: parking.FanWiring,
    pin: int,
    speed: float,
    pin_factory: PinFactory,
    pwm_root: Path | None,
) -> FanOutput:
    if wiring.drive == "relay":
        return RelayFan(
            pin,
            active_low=wiring.active_low,
            normally_closed=wiring.normally_closed,
            speed=speed,
            pin_factory=pin_factory,
        )
    if wiring.drive == "hardware_pwm" and pwm_root is not None:
        return HardwarePwmFan(
            PwmChannel(
                pin,
                frequency_hz=wiring.frequency_hz,
                active_low=wiring.active_low,
                duty=speed,
                root=pwm_root,
            )
        )
    if wiring.drive == "pwm" and wiring.frequency_hz > SOFTWARE_PWM_LIMIT_HZ:
        raise HardwareError(
            f"PWM timed by software reaches {SOFTWARE_PWM_LIMIT_HZ:.0f} Hz at most, the config "
            f"asks for {wiring.frequency_hz:.0f} Hz; use drive: hardware_pwm"
        )
    timed = None if pwm_root is None else find_timed_channel(pin, pwm_root)
    if timed is not None:
        channel = PwmChannel(
            pin,
            frequency_hz=wiring.frequency_hz,
            active_low=wiring.active_low,
            duty=speed,
            at=timed,
        )
        return TimedPwmFan(channel, speed)
    if not getattr(pin_factory, "can_time_pwm", True):
        raise HardwareError(
            f"the fan's PWM on GPIO {pin}: libgpiod times no pulses; have the kernel time "
            f"them: add the line 'dtoverlay=pwm-gpio,gpio={pin}' to "
            "/boot/firmware/config.txt and restart. Or set GPIOZERO_PIN_FACTORY=lgpio"
        )
    return SoftwarePwmFan(
        pin,
        frequency_hz=wiring.frequency_hz,
        active_low=wiring.active_low,
        speed=speed,
        pin_factory=pin_factory,
    )
