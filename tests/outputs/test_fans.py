"""Relay and software PWM, on gpiozero's own mock pins."""

from __future__ import annotations

import math
from typing import Any

import pytest
from gpiozero.pins.mock import MockFactory, MockPin

from controller.errors import UserError
from controller.outputs.fans import RelayFan, SoftwarePwmFan


def states(factory: MockFactory, pin: int) -> list[float]:
    return [float(state.state) for state in factory.pin(pin).states]


def relay(factory: MockFactory, **options: Any) -> RelayFan:
    chosen = {"active_low": False, "normally_closed": False, "speed": 0.0, **options}
    return RelayFan(17, pin_factory=factory, **chosen)


@pytest.mark.parametrize(
    ("active_low", "normally_closed", "level_of_on"),
    [(False, False, 1.0), (True, False, 0.0), (False, True, 0.0), (True, True, 1.0)],
)
def test_relay_drives_the_level_that_its_wiring_asks_for(
    mock_pins: MockFactory, active_low: bool, normally_closed: bool, level_of_on: float
) -> None:
    fan = relay(mock_pins, active_low=active_low, normally_closed=normally_closed)
    pin = mock_pins.pin(17)
    assert pin.function == "output"
    assert pin.state == 1.0 - level_of_on
    fan.apply(1.0)
    assert pin.state == level_of_on
    fan.apply(0.0)
    assert pin.state == 1.0 - level_of_on


def test_fan_on_a_normally_closed_contact_runs_while_nothing_energises_the_relay(
    mock_pins: MockFactory,
) -> None:
    fan = relay(mock_pins, normally_closed=True, speed=1.0)
    assert states(mock_pins, 17) == [0.0]
    fan.apply(0.0)
    assert states(mock_pins, 17) == [0.0, 1.0]


def test_relay_is_set_again_when_something_else_moved_its_line(mock_pins: MockFactory) -> None:
    fan = relay(mock_pins, speed=1.0)
    mock_pins.pin(17).state = 0.0
    fan.apply(1.0)
    assert mock_pins.pin(17).state == 1.0


def test_unchanged_command_moves_no_line(mock_pins: MockFactory) -> None:
    fan = relay(mock_pins)
    for speed in (0.0, 1.0, 1.0, 0.4, 0.0, 0.0):
        fan.apply(speed)
    assert states(mock_pins, 17) == [0.0, 1.0, 0.0]


def software_pwm(factory: MockFactory, **options: Any) -> SoftwarePwmFan:
    chosen = {"frequency_hz": 100.0, "active_low": False, "speed": 0.0, **options}
    return SoftwarePwmFan(18, pin_factory=factory, **chosen)


def test_software_pwm_pulses_only_between_off_and_full(mock_pins: MockFactory) -> None:
    fan = software_pwm(mock_pins)
    pin = mock_pins.pin(18)
    assert (pin.frequency, pin.state) == (None, 0.0)
    fan.apply(0.4)
    assert (pin.frequency, pin.state) == (100.0, pytest.approx(0.4))
    fan.apply(1.0)
    assert (pin.frequency, pin.state) == (None, 1.0)


def test_inverted_software_pwm_drives_low_for_the_commanded_share(mock_pins: MockFactory) -> None:
    fan = software_pwm(mock_pins, active_low=True, speed=0.3)
    pin = mock_pins.pin(18)
    assert pin.state == pytest.approx(0.7)
    fan.apply(0.0)
    assert (pin.frequency, pin.state) == (None, 1.0)


@pytest.mark.parametrize("active_low", [False, True])
def test_every_whole_percent_reaches_the_pin_although_lgpio_cuts_off(
    mock_pins: MockFactory, active_low: bool
) -> None:
    fan = software_pwm(mock_pins, active_low=active_low)
    for percent in range(1, 100):
        fan.apply(percent / 100)
        # gpiozero.pins.lgpio makes whole percents of a state by int(state * 100).
        sent = int(mock_pins.pin(18).state * 100)
        assert sent == (100 - percent if active_low else percent)


def test_unchanged_speed_sends_no_second_pwm_command(mock_pins: MockFactory) -> None:
    fan = software_pwm(mock_pins)
    fan.apply(0.4)
    seen = states(mock_pins, 18)
    mock_pins.pin(18).clear_states()
    fan.apply(0.4)
    fan.apply(0.401)
    assert seen == [0.0, 0.4]
    assert states(mock_pins, 18) == [0.4]


def test_closing_a_pulsed_fan_leaves_it_at_full_since_its_pulses_end(
    mock_pins: MockFactory,
) -> None:
    fan = software_pwm(mock_pins, active_low=True, speed=0.4)
    pin = mock_pins.pin(18)
    pin.clear_states()
    fan.close()
    assert states(mock_pins, 18)[-1] == 0.0
    assert pin.frequency is None


@pytest.mark.parametrize("speed", [-0.1, 1.1, math.nan])
def test_speed_out_of_range_is_refused(mock_pins: MockFactory, speed: float) -> None:
    with pytest.raises(ValueError, match="must lie in 0 to 1"):
        relay(mock_pins).apply(speed)
    with pytest.raises(ValueError, match="must lie in 0 to 1"):
        software_pwm(mock_pins).apply(speed)
    with pytest.raises(ValueError, match="must lie in 0 to 1"):
        RelayFan(5, active_low=False, normally_closed=False, speed=speed, pin_factory=mock_pins)


def test_pin_in_use_is_reported_with_its_number_and_where_to_look(mock_pins: MockFactory) -> None:
    first = relay(mock_pins)
    with pytest.raises(UserError, match=r"GPIO 17: the pin is in use .*'gpioinfo'") as caught:
        relay(mock_pins)
    assert caught.value.status == 3
    first.close()


def test_pins_without_pwm_are_distinguished(mock_pins: MockFactory) -> None:
    plain = MockFactory(pin_class=MockPin)
    with pytest.raises(UserError, match="can't do PWM; set GPIOZERO_PIN_FACTORY=lgpio"):
        software_pwm(plain, speed=0.4)
    # The pin was let go: it can be had again.
    relay_again = RelayFan(
        18, active_low=False, normally_closed=False, speed=0.0, pin_factory=plain
    )
    relay_again.close()


@pytest.mark.parametrize("active_low", [False, True])
@pytest.mark.parametrize("normally_closed", [False, True])
def test_a_released_relay_floats_and_is_driven_again_without_a_wrong_level(
    mock_pins: MockFactory, active_low: bool, normally_closed: bool
) -> None:
    fan = relay(mock_pins, active_low=active_low, normally_closed=normally_closed)
    pin = mock_pins.pin(17)
    off = pin.state
    fan.release()
    assert (pin.function, pin.pull) == ("input", "floating")
    pin.clear_states()
    fan.apply(0.0)
    assert (pin.function, pin.state) == ("output", off)
    assert {float(state) for state in states(mock_pins, 17)[1:]} <= {float(off)}


@pytest.mark.parametrize("speed", [0.0, 0.4, 1.0])
def test_a_released_pwm_line_floats_until_it_is_driven_again(
    mock_pins: MockFactory, speed: float
) -> None:
    fan = software_pwm(mock_pins, active_low=True, speed=speed)
    pin = mock_pins.pin(18)
    fan.release()
    assert (pin.function, pin.pull, pin.frequency) == ("input", "floating", None)
    fan.apply(speed)
    assert (pin.function, pin.state) == ("output", pytest.approx(1.0 - speed))
