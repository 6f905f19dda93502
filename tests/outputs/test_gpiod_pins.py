"""What a meter on the wire would see, and what is counted, on our own pins over libgpiod."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fake_gpiod import Bias, FakeKernel

from controller.errors import UserError
from controller.outputs.fans import RelayFan
from controller.outputs.gpio import open_pin_factory
from controller.outputs.lamps import Photocell
from controller.outputs.tachometer import Tachometer

PACKAGE = Path(__file__).parents[2] / "controller" / "outputs" / "gpiod_pins"


@pytest.fixture
def factory(fake_kernel: FakeKernel, tmp_path: Path) -> Iterator[Any]:
    from controller.outputs.gpiod_pins import GpiodFactory

    made = GpiodFactory(consumer="lungwort", chip=tmp_path / "gpiochip3")
    yield made
    made.close()


def relay(factory: Any, **options: Any) -> RelayFan:
    chosen = {"active_low": False, "normally_closed": False, "speed": 0.0, **options}
    return RelayFan(17, pin_factory=factory, **chosen)


def test_active_low_relay_that_starts_off_never_pulls_in(
    factory: Any, fake_kernel: FakeKernel
) -> None:
    fan = relay(factory, active_low=True)
    assert fake_kernel.line(17).driven == ["float", 1]
    fan.apply(0.0)
    assert fake_kernel.line(17).driven == ["float", 1]
    assert fake_kernel.line(17).consumer == "lungwort"


@pytest.mark.parametrize("speed", [0.0, 1.0])
def test_closing_leaves_the_relay_as_it_is_and_lets_go_of_line_and_chip(
    factory: Any, fake_kernel: FakeKernel, speed: float
) -> None:
    fan = relay(factory)
    fan.apply(speed)
    fan.close()
    factory.close()
    factory.close()
    line = fake_kernel.line(17)
    assert (line.driven[-1], line.consumer, fake_kernel.open_chips) == (int(speed), "", 0)


def test_next_process_takes_over_a_parked_relay_without_letting_it_drop(
    factory: Any, fake_kernel: FakeKernel
) -> None:
    for speed in (1.0, 1.0, 0.0):
        relay(factory, speed=speed).close()
    assert fake_kernel.line(17).driven == ["float", 1, 0]


def test_a_released_line_floats_and_is_driven_again_by_the_next_command(
    factory: Any, fake_kernel: FakeKernel
) -> None:
    fan = relay(factory, active_low=True, speed=1.0)
    fan.release()
    assert fake_kernel.line(17).driven == ["float", 0, "float"]
    assert fake_kernel.line(17).settings.bias is Bias.DISABLED
    fan.apply(0.0)
    assert fake_kernel.line(17).driven[-1] == 1


def test_relay_is_set_again_when_something_else_moved_its_line(
    factory: Any, fake_kernel: FakeKernel
) -> None:
    fan = relay(factory, speed=1.0)
    fake_kernel.line(17).drive(0)
    fan.apply(1.0)
    assert fake_kernel.line(17).driven[-1] == 1


def test_line_left_driven_becomes_an_input_when_one_is_wanted(
    factory: Any, fake_kernel: FakeKernel
) -> None:
    fake_kernel.line(24).drive(1)
    Tachometer(24, pulses_per_turn=2, pin_factory=factory)
    line = fake_kernel.line(24)
    assert (line.driven, line.settings.bias) == (["float", 1, "float"], Bias.PULL_UP)


def test_photocell_reads_a_line_without_a_pull(factory: Any, fake_kernel: FakeKernel) -> None:
    fake_kernel.line(22).level = 1
    photocell = Photocell(22, active_low=False, pin_factory=factory)
    assert photocell.is_lit()
    assert fake_kernel.line(22).settings.bias is Bias.DISABLED
    photocell.close()
    assert fake_kernel.line(22).consumer == ""


def test_pin_with_a_resistor_on_the_board_keeps_it(factory: Any, fake_kernel: FakeKernel) -> None:
    from gpiozero import InputDevice, PinFixedPull

    InputDevice(2, pull_up=True, pin_factory=factory).close()
    assert fake_kernel.line(2).settings.bias is Bias.AS_IS
    with pytest.raises(PinFixedPull):
        InputDevice(3, pull_up=False, pin_factory=factory)


def test_line_in_use_by_another_program_is_reported(factory: Any, fake_kernel: FakeKernel) -> None:
    fake_kernel.line(17).consumer = "somebody"
    with pytest.raises(UserError, match=r"relay on GPIO 17: the pin is in use by another program"):
        relay(factory)


def clock_ns(seconds: float) -> int:
    return round(seconds * 1e9)


@pytest.mark.parametrize("tick_s", [0.5, 2.0, 10.0])
def test_a_fan_at_6000_turns_a_minute_is_counted_exactly_however_rarely_it_is_asked(
    factory: Any, fake_kernel: FakeKernel, tick_s: float
) -> None:
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=factory)
    half_ns, at_ns, now_s, rpms = 2_500_000, 0, 0.0, []
    tachometer.rpm(now_s)
    while now_s < 60.0:
        now_s += tick_s
        levels = []
        while at_ns + 2 * half_ns <= clock_ns(now_s):
            levels += [(at_ns + half_ns, 0), (at_ns + 2 * half_ns, 1)]
            at_ns += 2 * half_ns
        fake_kernel.move(24, iter(levels))
        rpms.append(tachometer.rpm(now_s))
    assert rpms[-1] == pytest.approx(6000.0, rel=1e-9)
    assert set(rpms[4:]) == {rpms[-1]}


def test_glitches_shorter_than_a_fan_can_pulse_do_not_turn_a_fan_that_stands(
    factory: Any, fake_kernel: FakeKernel
) -> None:
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=factory)
    tachometer.rpm(0.0)
    for tick in range(1, 6):
        start_ns = clock_ns(2.0 * (tick - 1))
        # 25 kHz from the PWM wire beside it, for longer than the kernel's queue holds.
        fake_kernel.move(24, ((start_ns + 20_000 * n, n % 2) for n in range(3000)))
        assert tachometer.rpm(2.0 * tick) == 0.0


def test_closed_tachometer_lets_the_pin_go(factory: Any, fake_kernel: FakeKernel) -> None:
    tachometer = Tachometer(24, pulses_per_turn=2, pin_factory=factory)
    tachometer.close()
    tachometer.close()
    assert fake_kernel.line(24).consumer == ""
    with pytest.raises(UserError, match="the tachometer on GPIO 24"):
        tachometer.rpm(5.0)


def test_callbacks_and_pwm_are_refused_by_the_pins_themselves(
    factory: Any, fake_kernel: FakeKernel
) -> None:
    from gpiozero import PWMLED, Button, PinEdgeDetectUnsupported, PinPWMUnsupported

    with pytest.raises(PinEdgeDetectUnsupported):
        Button(24, pin_factory=factory)
    with pytest.raises(PinPWMUnsupported):
        PWMLED(17, pin_factory=factory)


def test_chip_is_found_by_its_label_and_a_second_name_of_it_counts_once(
    fake_kernel: FakeKernel, tmp_path: Path
) -> None:
    from controller.outputs.gpiod_pins import find_header_chip

    fake_kernel.labels |= {"gpiochip0": "brcmvirt-gpio", "gpiochip11": "raspberrypi-exp-gpio"}
    for name in ("gpiochip0", "gpiochip11"):
        (tmp_path / name).touch()
    (tmp_path / "gpiochip4").symlink_to("gpiochip3")
    assert find_header_chip(tmp_path) == tmp_path / "gpiochip3"


def test_chip_that_cannot_be_told_apart_or_opened_is_refused(
    fake_kernel: FakeKernel, tmp_path: Path
) -> None:
    from controller.outputs.gpiod_pins import find_header_chip

    fake_kernel.refused.add("gpiochip3")
    with pytest.raises(PermissionError):
        find_header_chip(tmp_path)
    fake_kernel.refused.clear()
    fake_kernel.labels["gpiochip3"] = "gpio-mockup"
    with pytest.raises(OSError, match=r"no GPIO chip is labelled .*gpiochip3 \(gpio-mockup\)"):
        find_header_chip(tmp_path)
    for name in ("gpiochip3", "gpiochip5"):
        fake_kernel.labels[name] = "pinctrl-rp1"
        (tmp_path / name).touch()
    with pytest.raises(OSError, match="more than one GPIO chip is labelled"):
        find_header_chip(tmp_path)


def test_machine_without_gpio_or_bindings_is_reported_and_what_works_there(
    fake_kernel: FakeKernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(UserError, match=r"no GPIO.*--simulate|can't be used") as caught:
        open_pin_factory()
    assert caught.value.status == 3
    monkeypatch.setitem(__import__("sys").modules, "controller.outputs.gpiod_pins", None)
    with pytest.raises(UserError, match=r"libgpiod 2 are not installed.*systemd/INSTALL.md"):
        open_pin_factory()


def test_package_stands_alone() -> None:
    files = list(PACKAGE.glob("*.py"))
    assert files
    for file in files:
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and str(node.module).startswith("controller"):
                assert str(node.module).startswith("controller.outputs.gpiod_pins"), file
