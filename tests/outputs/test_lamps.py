"""The lamp's relay and the photocell."""

from __future__ import annotations

import pytest
from gpiozero.pins.mock import MockFactory

from controller.outputs.lamps import LampRelay, Photocell


@pytest.mark.parametrize(("active_low", "level_of_lit"), [(False, 1.0), (True, 0.0)])
def test_relay_lights_the_lamp_at_the_level_of_its_wiring(
    mock_pins: MockFactory, active_low: bool, level_of_lit: float
) -> None:
    lamp = LampRelay(27, active_low=active_low, on=False, pin_factory=mock_pins)
    lamp.apply(True)
    lamp.apply(True)
    lamp.apply(False)
    dark = 1.0 - level_of_lit
    seen = [float(state.state) for state in mock_pins.pin(27).states]
    before_claim = [0.0] if active_low else []  # a mock pin is low until it is claimed
    assert seen == [*before_claim, dark, level_of_lit, dark]


@pytest.mark.parametrize("active_low", [False, True])
def test_photocell_says_at_once_what_it_sees_first(
    mock_pins: MockFactory, active_low: bool
) -> None:
    pin = mock_pins.pin(22)
    (pin.drive_low if active_low else pin.drive_high)()
    assert Photocell(22, active_low=active_low, pin_factory=mock_pins).is_lit()


def test_flash_of_light_is_not_taken_for_the_lamp(mock_pins: MockFactory) -> None:
    photocell = Photocell(22, active_low=False, pin_factory=mock_pins)
    pin = mock_pins.pin(22)
    pin.drive_high()
    assert [photocell.is_lit() for _ in range(2)] == [False, False]
    pin.drive_low()
    assert not photocell.is_lit()
    pin.drive_high()
    assert [photocell.is_lit() for _ in range(3)] == [False, False, True]
