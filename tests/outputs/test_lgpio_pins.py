"""What a meter on the wire would see: the real gpiozero over a stand-in for lgpio."""

from __future__ import annotations

import pytest
from output_doubles import FakeLgpio

from controller.errors import UserError
from controller.outputs.fans import RelayFan, SoftwarePwmFan
from controller.outputs.gpio import open_pin_factory
from controller.outputs.tachometer import Tachometer


def test_active_low_relay_that_starts_off_never_pulls_in(fake_lgpio: FakeLgpio) -> None:
    factory = open_pin_factory()
    RelayFan(17, active_low=True, normally_closed=False, speed=0.0, pin_factory=factory)
    assert fake_lgpio.driven[17] == ["float", 1]


def test_gpiozero_by_itself_would_pull_it_in(fake_lgpio: FakeLgpio) -> None:
    # The reason for SteadyPin. When this fails, gpiozero may have learnt to claim with a level.
    from gpiozero import OutputDevice
    from gpiozero.pins.lgpio import LGPIOFactory

    relay = OutputDevice(17, active_high=False, pin_factory=LGPIOFactory())
    assert fake_lgpio.driven[17] == ["float", 0, 1]
    relay.close()
    assert fake_lgpio.driven[17][-1] == "float"


@pytest.mark.parametrize("speed", [0.0, 1.0])
def test_closing_leaves_the_relay_as_it_is(fake_lgpio: FakeLgpio, speed: float) -> None:
    factory = open_pin_factory()
    fan = RelayFan(17, active_low=False, normally_closed=False, speed=0.0, pin_factory=factory)
    fan.apply(speed)
    fan.close()
    factory.close()
    assert fake_lgpio.driven[17][-1] == int(speed)
    assert fake_lgpio.modes == {}
    assert not fake_lgpio.chip_is_open


def test_pin_can_be_had_again_after_closing(fake_lgpio: FakeLgpio) -> None:
    factory = open_pin_factory()
    for speed in (1.0, 0.0):
        fan = RelayFan(
            17, active_low=False, normally_closed=False, speed=speed, pin_factory=factory
        )
        fan.close()
    assert fake_lgpio.driven[17] == ["float", 1, 0]


def test_next_process_takes_over_a_parked_relay_without_letting_it_drop(
    fake_lgpio: FakeLgpio,
) -> None:
    for speed in (1.0, 1.0, 0.0):
        factory = open_pin_factory()
        fan = RelayFan(
            17, active_low=False, normally_closed=False, speed=speed, pin_factory=factory
        )
        fan.close()
        factory.close()
    assert fake_lgpio.driven[17] == ["float", 1, 0]


def test_line_left_driven_becomes_an_input_when_one_is_wanted(fake_lgpio: FakeLgpio) -> None:
    fake_lgpio.gpio_set_debounce_micros = lambda *_: 0  # type: ignore[attr-defined]
    fake_lgpio.gpio_claim_alert = lambda *_: 0  # type: ignore[attr-defined]
    fake_lgpio.callback = lambda *_: None  # type: ignore[attr-defined]
    fake_lgpio.driven[24] = [1]
    Tachometer(24, pulses_per_turn=2, pin_factory=open_pin_factory())
    assert fake_lgpio.driven[24] == [1, "float"]


def test_software_pwm_reaches_lgpio_in_whole_percents(fake_lgpio: FakeLgpio) -> None:
    fan = SoftwarePwmFan(
        18, frequency_hz=100.0, active_low=False, speed=0.29, pin_factory=open_pin_factory()
    )
    assert fake_lgpio.pwm == {18: (100.0, 29)}
    fan.close()
    assert fake_lgpio.pwm == {}
    assert fake_lgpio.driven[18][-1] == 1


def test_input_is_let_go_as_an_input(fake_lgpio: FakeLgpio) -> None:
    fake_lgpio.gpio_set_debounce_micros = lambda *_: 0  # type: ignore[attr-defined]
    fake_lgpio.gpio_claim_alert = lambda *_: 0  # type: ignore[attr-defined]

    class Callback:
        def cancel(self) -> None:
            pass

    fake_lgpio.callback = lambda *_: Callback()  # type: ignore[attr-defined]
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=open_pin_factory())
    tachometer.close()
    assert fake_lgpio.driven[24] == ["float"]
    assert fake_lgpio.modes == {}


def test_line_in_use_by_another_program_is_reported(fake_lgpio: FakeLgpio) -> None:
    fake_lgpio.busy.add(17)
    with pytest.raises(UserError, match=r"relay on GPIO 17: the pin is in use by another program"):
        RelayFan(
            17, active_low=True, normally_closed=False, speed=0.0, pin_factory=open_pin_factory()
        )


def test_machine_without_gpio_is_reported_and_what_works_there(fake_lgpio: FakeLgpio) -> None:
    fake_lgpio.chip_error = "can not open gpiochip"
    with pytest.raises(UserError, match=r"no GPIO.*--simulate|can't be used") as caught:
        open_pin_factory()
    assert caught.value.status == 3


def test_unknown_pin_factory_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "nonesuch")
    monkeypatch.setattr("gpiozero.Device.pin_factory", None)
    with pytest.raises(UserError, match="'nonesuch' that GPIOZERO_PIN_FACTORY names"):
        open_pin_factory()


def test_a_released_line_floats_whatever_drove_it(fake_lgpio: FakeLgpio) -> None:
    factory = open_pin_factory()
    relay = RelayFan(17, active_low=True, normally_closed=False, speed=1.0, pin_factory=factory)
    pwm = SoftwarePwmFan(12, frequency_hz=100.0, active_low=False, speed=0.4, pin_factory=factory)
    relay.release()
    pwm.release()
    assert (fake_lgpio.driven[17][-1], fake_lgpio.driven[12][-1]) == ("float", "float")
    assert fake_lgpio.pwm == {}
    relay.apply(0.0)
    pwm.apply(1.0)
    assert (fake_lgpio.driven[17][-2:], fake_lgpio.driven[12][-1]) == (["float", 1], 1)
