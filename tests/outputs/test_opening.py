"""From a config to opened outputs, and how they are left."""

from __future__ import annotations

from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory
from output_doubles import PwmTree

from controller.config import Settings, settings_from_text
from controller.errors import UserError
from controller.outputs import open_outputs, park, parking

BASE = """\
tent: {{name: Test, width: 60 cm, depth: 60 cm, height: 120 cm}}
place: {{timezone: Europe/Rome}}
lamp: {{power: 100 W, photoperiod: {{on: "06:00", off: "22:00"}}{lamp}}}
fan: {{pin: {pin}{fan}}}
failsafe: {{speed: {failsafe}}}
sensors: [{{name: canopy, role: tent, driver: dht22, pin: 4}}]
"""


def settings(fan: str = "", lamp: str = "", failsafe: str = "100 %", pin: int = 17) -> Settings:
    text = BASE.format(fan=fan, lamp=lamp, failsafe=failsafe, pin=pin)
    return settings_from_text(text).settings


OWN_LAMP = ", switched_by: relay, pin: 27"


def levels(factory: MockFactory, pin: int) -> list[float]:
    return [float(state.state) for state in factory.pin(pin).states]


def test_fan_starts_at_the_failsafe_speed_and_our_lamp_dark(mock_pins: MockFactory) -> None:
    outputs = open_outputs(settings(lamp=OWN_LAMP), pin_factory=mock_pins)
    assert levels(mock_pins, 17) == [0.0, 1.0]
    assert levels(mock_pins, 27) == [0.0]
    assert outputs.photocell is None
    assert outputs.tachometer is None
    outputs.close()


def test_fan_starts_at_the_speed_given(mock_pins: MockFactory) -> None:
    open_outputs(settings(), pin_factory=mock_pins, fan_speed=0.0)
    assert levels(mock_pins, 17) == [0.0]


def test_stop_leaves_the_fan_running_beside_a_lamp_on_its_own_timer(
    plain_pins: MockFactory,
) -> None:
    outputs = open_outputs(settings(), pin_factory=plain_pins)
    outputs.fan.apply(0.0)
    outputs.close()
    outputs.close()
    assert levels(plain_pins, 17) == [0.0, 1.0, 0.0, 1.0]
    assert plain_pins.pin(17).function == "input"


def test_stop_leaves_fan_and_lamp_off_where_the_lamp_is_ours(mock_pins: MockFactory) -> None:
    outputs = open_outputs(settings(lamp=OWN_LAMP), pin_factory=mock_pins)
    assert outputs.lamp is not None
    outputs.lamp.apply(True)
    outputs.close()
    assert levels(mock_pins, 17)[-1] == 0.0
    assert levels(mock_pins, 27) == [0.0, 1.0, 0.0]


def test_photocell_and_tachometer_are_opened_where_they_are_wired(mock_pins: MockFactory) -> None:
    outputs = open_outputs(
        settings(
            fan=", drive: pwm, tachometer: {pin: 24}", lamp=", switched_by: photocell, pin: 22"
        ),
        pin_factory=mock_pins,
    )
    assert outputs.lamp is None
    assert outputs.photocell is not None and outputs.tachometer is not None
    assert not outputs.photocell.is_lit()
    assert outputs.tachometer.rpm(0.0) is None
    outputs.close()
    assert {mock_pins.pin(pin).function for pin in (17, 22, 24)} == {"input"}


def test_hardware_pwm_is_left_to_the_pin_factory_on_a_machine_without(
    mock_pins: MockFactory,
) -> None:
    outputs = open_outputs(
        settings(pin=18, fan=", drive: hardware_pwm"), pin_factory=mock_pins, pwm_root=None
    )
    outputs.fan.apply(0.4)
    assert mock_pins.pin(18).frequency == 25_000.0


def test_hardware_pwm_goes_through_the_kernel(mock_pins: MockFactory, pwm_tree: PwmTree) -> None:
    pwm_tree.make_channel(0)
    on_18 = settings(pin=18, fan=", drive: hardware_pwm", failsafe="60 %")
    outputs = open_outputs(on_18, pin_factory=mock_pins, pwm_root=pwm_tree.root)
    assert pwm_tree.read(0)["duty_cycle"] == "24000"
    outputs.fan.apply(0.25)
    assert pwm_tree.read(0)["duty_cycle"] == "10000"
    outputs.close()
    assert pwm_tree.read(0)["duty_cycle"] == "24000"


@pytest.mark.parametrize("active_low", [False, True])
def test_pulses_are_left_to_the_kernel_where_its_overlay_has_the_pin(
    mock_pins: MockFactory, tmp_path: Path, active_low: bool
) -> None:
    for number, other in enumerate((4, 22)):
        PwmTree(tmp_path / "pwm", f"pwm_gpio@{other}", f"pwmchip{number}").time_pulses_of(other)
    tree = PwmTree(tmp_path / "pwm", "pwm_gpio@17", "pwmchip2")
    tree.time_pulses_of(17)
    tree.make_channel(0)
    config = settings(fan=f", drive: pwm, active_low: {str(active_low).lower()}", failsafe="60 %")
    outputs = open_outputs(config, pin_factory=mock_pins, pwm_root=tree.root)
    assert mock_pins.pin(17).function == "input", "the line is the kernel's"
    outputs.fan.apply(0.25)
    found = tree.read(0)
    assert (found["period"], found["duty_cycle"]) == ("10000000", "2500000")
    assert found["polarity"] == ("inversed" if active_low else "normal")
    outputs.close()
    # As pulses that end with the process: parked between off and full is full.
    assert tree.read(0)["duty_cycle"] == "10000000"


def test_pins_that_time_no_pulses_need_the_kernels_overlay(
    mock_pins: MockFactory, pwm_tree: PwmTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mock_pins, "can_time_pwm", False, raising=False)
    config = settings(fan=", drive: pwm")
    with pytest.raises(UserError, match=r"'dtoverlay=pwm-gpio,gpio=17'.*GPIOZERO_PIN_FACTORY"):
        open_outputs(config, pin_factory=mock_pins, pwm_root=pwm_tree.root)
    open_outputs(settings(), pin_factory=mock_pins, pwm_root=pwm_tree.root).close()


def test_failed_opening_lets_go_of_what_was_opened_before(mock_pins: MockFactory) -> None:
    from gpiozero import InputDevice

    taken = InputDevice(27, pin_factory=mock_pins)
    with pytest.raises(UserError, match="the lamp's relay on GPIO 27"):
        open_outputs(settings(lamp=OWN_LAMP), pin_factory=mock_pins)
    taken.close()
    open_outputs(settings(lamp=OWN_LAMP), pin_factory=mock_pins).close()


def test_one_broken_wire_does_not_keep_the_others_from_being_parked(
    mock_pins: MockFactory,
) -> None:
    outputs = open_outputs(settings(lamp=OWN_LAMP), pin_factory=mock_pins)
    assert outputs.lamp is not None
    outputs.lamp.apply(True)
    mock_pins.pin(17).function = "input"  # setting it now raises, as an unplugged chip would
    with pytest.raises(UserError, match="the fan's relay on GPIO 17"):
        outputs.close()
    assert levels(mock_pins, 27)[-1] == 0.0
    assert mock_pins.pin(27).function == "input"


@pytest.mark.parametrize(
    ("lamp", "after_stop", "after_fault"), [("", 0.6, 0.6), (OWN_LAMP, 0.0, 0.6)]
)
def test_plan_says_how_the_fan_is_left(lamp: str, after_stop: float, after_fault: float) -> None:
    plan = parking.ParkingPlan.from_settings(
        settings(fan=", drive: pwm", lamp=lamp, failsafe="60 %")
    )
    assert (plan.speed_after_stop, plan.speed_after_fault) == (after_stop, after_fault)


def test_plan_survives_being_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(parking.PLAN_VARIABLE, str(tmp_path / "plan.json"))
    assert parking.saved() is None
    for lamp in ("", OWN_LAMP):
        plan = parking.ParkingPlan.from_settings(
            settings(fan=", active_low: true, contact: normally_closed", lamp=lamp)
        )
        parking.save(plan)
        assert parking.saved() == plan
    parking.forget()
    assert parking.saved() is None
    parking.forget()


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"fan": 3, "lamp": null}', "null"])
def test_damaged_plan_counts_as_none(
    text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plan.json"
    path.write_text(text)
    monkeypatch.setenv(parking.PLAN_VARIABLE, str(path))
    assert parking.saved() is None


def test_opened_outputs_keep_their_plan_even_where_it_cannot_be_written(
    mock_pins: MockFactory, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(parking.PLAN_VARIABLE, str(tmp_path / "none" / "plan.json"))
    open_outputs(settings(), pin_factory=mock_pins).close()
    monkeypatch.setenv(parking.PLAN_VARIABLE, str(tmp_path / "plan.json"))
    open_outputs(settings(), pin_factory=mock_pins).close()
    assert parking.saved() == parking.ParkingPlan.from_settings(settings())


def test_parking_sets_the_level_at_once_and_lets_go(mock_pins: MockFactory) -> None:
    plan = parking.ParkingPlan.from_settings(settings(fan=", active_low: true", lamp=OWN_LAMP))
    park(plan, 1.0, pin_factory=mock_pins)
    assert levels(mock_pins, 17) == [0.0]
    assert levels(mock_pins, 27) == [0.0]
    assert mock_pins.pin(17).function == "input"


@pytest.mark.parametrize("active_low", [False, True])
def test_parking_a_four_wire_fan_that_no_daemon_started_leaves_it_at_full_speed(
    mock_pins: MockFactory, pwm_tree: PwmTree, active_low: bool
) -> None:
    pwm_tree.make_channel(0)
    config = settings(pin=18, fan=f", drive: hardware_pwm, active_low: {str(active_low).lower()}")
    park(
        parking.ParkingPlan.from_settings(config),
        1.0,
        pin_factory=mock_pins,
        pwm_root=pwm_tree.root,
    )
    found = pwm_tree.read(0)
    assert (found["enable"], found["duty_cycle"]) == ("1", found["period"])
    # Behind a transistor the pin stays low: the transistor off, the fan's wire up.
    assert found["polarity"] == ("inversed" if active_low else "normal")


@pytest.mark.parametrize("active_low", [True, False])
def test_current_switch_is_opened_where_it_is_wired(
    mock_pins: MockFactory, active_low: bool
) -> None:
    wiring = f", current_switch: {{pin: 25, active_low: {str(active_low).lower()}}}"
    outputs = open_outputs(settings(fan=wiring), pin_factory=mock_pins)
    switch, pin = outputs.current_switch, mock_pins.pin(25)
    assert switch is not None
    assert pin.pull == ("up" if active_low else "floating")
    (pin.drive_low if active_low else pin.drive_high)()
    assert switch.draws_current()
    (pin.drive_high if active_low else pin.drive_low)()
    assert not switch.draws_current()
    outputs.close()
    open_outputs(settings(fan=wiring), pin_factory=mock_pins).close()
