"""Pins and PWM channels that are not there."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from fake_gpiod import FakeKernel
from gpiozero.pins.local import LocalPiFactory
from gpiozero.pins.mock import MockFactory, MockPin, MockPWMPin
from output_doubles import FakeLgpio, PwmTree


@pytest.fixture
def mock_pins() -> Iterator[MockFactory]:
    factory = MockFactory(pin_class=MockPWMPin)
    yield factory
    factory.close()


@pytest.fixture
def plain_pins() -> Iterator[MockFactory]:
    """Pins without PWM, which keep their level when they are closed; mock PWM pins fall to 0."""
    factory = MockFactory(pin_class=MockPin)
    yield factory
    factory.close()


@pytest.fixture
def fake_lgpio(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[FakeLgpio]:
    fake = FakeLgpio()
    monkeypatch.setitem(sys.modules, "lgpio", fake)
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "lgpio")
    monkeypatch.setenv("LG_WD", str(tmp_path))
    monkeypatch.setattr("gpiozero.pins.local.get_pi_revision", lambda: 0xC03111)  # a Pi 4B
    _forget_modules()
    yield fake
    LocalPiFactory.pins.clear()
    LocalPiFactory._reservations.clear()
    _forget_modules()


@pytest.fixture
def fake_kernel(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[FakeKernel]:
    """A machine with a Pi 4's GPIO chip, and libgpiod's bindings on it."""
    kernel = FakeKernel()
    kernel.labels["gpiochip3"] = "pinctrl-bcm2711"
    (tmp_path / "gpiochip3").touch()
    for name, module in kernel.modules().items():
        monkeypatch.setitem(sys.modules, name, module)
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "gpiod")
    monkeypatch.setattr("gpiozero.pins.local.get_pi_revision", lambda: 0xC03111)  # a Pi 4B
    _forget_modules()
    yield kernel
    LocalPiFactory.pins.clear()
    LocalPiFactory._reservations.clear()
    _forget_modules()


def _forget_modules() -> None:
    import gpiozero.pins

    import controller.outputs

    ours = controller.outputs
    for package, name in ((gpiozero.pins, "lgpio"), (ours, "lgpio_pins"), (ours, "gpiod_pins")):
        for module in [m for m in sys.modules if m.startswith(f"{package.__name__}.{name}")]:
            del sys.modules[module]
        if hasattr(package, name):
            delattr(package, name)


@pytest.fixture
def pwm_tree(tmp_path: Path) -> PwmTree:
    return PwmTree(tmp_path / "pwm")
