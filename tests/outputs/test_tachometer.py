"""The fan's speed from its pulses."""

from __future__ import annotations

import pytest
from gpiozero.pins.mock import MockFactory
from hypothesis import given
from hypothesis import strategies as st

from controller.outputs.tachometer import WINDOW_S, Tachometer


def turn(factory: MockFactory, pulses: int) -> None:
    pin = factory.pin(24)
    for _ in range(pulses):
        pin.drive_low()
        pin.drive_high()


def test_speed_is_pulses_by_time(mock_pins: MockFactory) -> None:
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=mock_pins)
    assert tachometer.rpm(100.0) is None
    turn(mock_pins, 80)
    # 40 turns in 2 s are 1200 a minute.
    assert tachometer.rpm(102.0) == pytest.approx(1200.0)


def test_line_is_pulled_up_since_the_signal_is_an_open_collector(mock_pins: MockFactory) -> None:
    Tachometer(24, pulses_per_turn=2, pin_factory=mock_pins)
    assert mock_pins.pin(24).pull == "up"


def test_fan_that_stops_reads_zero_once_the_window_has_passed(mock_pins: MockFactory) -> None:
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=mock_pins)
    now_s = 0.0
    tachometer.rpm(now_s)
    while now_s < 20.0:
        now_s += 2.0
        turn(mock_pins, 80)
        tachometer.rpm(now_s)
    stopped_s = now_s
    while now_s < stopped_s + WINDOW_S:
        now_s += 2.0
        tachometer.rpm(now_s)
    assert tachometer.rpm(now_s) == 0.0


def test_speed_is_unknown_before_a_second_has_been_counted(mock_pins: MockFactory) -> None:
    tachometer = Tachometer(24, pulses_per_turn=1, pin_factory=mock_pins)
    assert tachometer.rpm(5.0) is None
    assert tachometer.rpm(5.9) is None
    assert tachometer.rpm(6.0) == 0.0


def test_long_gap_between_looks_gives_the_mean_over_it(mock_pins: MockFactory) -> None:
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=mock_pins)
    tachometer.rpm(0.0)
    turn(mock_pins, 1200)
    assert tachometer.rpm(60.0) == pytest.approx(600.0)


def test_closed_tachometer_lets_the_pin_go(mock_pins: MockFactory) -> None:
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=mock_pins)
    tachometer.close()
    tachometer.close()
    Tachometer(24, pulses_per_turn=2, pin_factory=mock_pins).close()


@given(
    pulses=st.integers(1, 40),
    step_s=st.floats(0.5, 3.0),
    steps=st.integers(20, 40),
    pulses_per_turn=st.integers(1, 4),
)
def test_steady_fan_reads_its_speed_whenever_asked(
    pulses: int, step_s: float, steps: int, pulses_per_turn: int
) -> None:
    factory = MockFactory()
    tachometer = Tachometer(24, pulses_per_turn=pulses_per_turn, pin_factory=factory)
    rpm = None
    for step in range(steps):
        rpm = tachometer.rpm(step * step_s)
        turn(factory, pulses)
    assert rpm == pytest.approx(pulses / pulses_per_turn / step_s * 60.0)
