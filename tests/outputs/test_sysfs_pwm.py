"""Hardware PWM on a tree like the kernel's."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from output_doubles import PwmTree

from controller.errors import UserError
from controller.outputs.fans import HardwarePwmFan
from controller.outputs.sysfs_pwm import PwmChannel, find_channel


def opened(tree: PwmTree, pin: int = 18, **options: Any) -> PwmChannel:
    chosen = {"frequency_hz": 25_000.0, "active_low": False, "duty": 0.5, **options}
    return PwmChannel(pin, root=tree.root, wait=tree.wait, **chosen)


@pytest.mark.parametrize(
    ("device", "pin", "channel"),
    [
        ("2020c000.pwm", 18, 0),
        ("3f20c000.pwm", 12, 0),
        ("fe20c000.pwm", 13, 1),
        ("fe20c000.pwm", 19, 1),
        ("1f00098000.pwm", 12, 0),
        ("1f00098000.pwm", 14, 2),
        ("1f00098000.pwm", 15, 3),
        ("1f00098000.pwm", 18, 2),
        ("1f00098000.pwm", 19, 3),
    ],
)
def test_chip_is_found_by_its_device_whatever_its_number(
    tmp_path: Path, device: str, pin: int, channel: int
) -> None:
    for number, other in enumerate(("fe20c800.pwm", "1f0009c000.pwm", "nonsense")):
        PwmTree(tmp_path / "pwm", other, f"pwmchip{number}")
    tree = PwmTree(tmp_path / "pwm", device, "pwmchip9")
    assert find_channel(pin, tree.root) == (tree.root / "pwmchip9", channel)


def test_fresh_channel_is_exported_and_runs_at_25_khz(pwm_tree: PwmTree) -> None:
    opened(pwm_tree)
    assert (pwm_tree.chip / "export").read_text() == "0"
    assert pwm_tree.read(0) == {
        "period": "40000",
        "duty_cycle": "20000",
        "polarity": "normal",
        "enable": "1",
    }


def test_period_is_written_before_a_duty_that_needs_it(
    pwm_tree: PwmTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    pwm_tree.make_channel(0, period=10_000, duty_cycle=5_000, enable=1)
    written = []
    real_open = os.open

    def noting_open(path: Any, flags: int, *more: Any) -> int:
        written.append(Path(path).name)
        return real_open(path, flags, *more)

    monkeypatch.setattr(os, "open", noting_open)
    opened(pwm_tree, active_low=True)
    # Stopped, duty out of the way, period, polarity while stopped, duty, started.
    assert written == ["enable", "duty_cycle", "period", "polarity", "duty_cycle", "enable"]
    assert pwm_tree.read(0) == {
        "period": "40000",
        "duty_cycle": "20000",
        "polarity": "inversed",
        "enable": "1",
    }


def test_running_channel_is_taken_over_without_stopping_it(
    pwm_tree: PwmTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    pwm_tree.make_channel(0, period=40_000, duty_cycle=40_000, enable=1)
    written = []
    real_open = os.open
    monkeypatch.setattr(
        os, "open", lambda p, *a: (written.append(Path(p).name), real_open(p, *a))[1]
    )
    opened(pwm_tree, duty=0.25)
    assert set(written) == {"duty_cycle"}
    assert pwm_tree.read(0)["duty_cycle"] == "10000"


def test_channel_that_cannot_be_inverted_counts_its_duty_from_the_other_end(
    pwm_tree: PwmTree,
) -> None:
    channel = pwm_tree.make_channel(0)
    (channel / "polarity").unlink()
    fan = HardwarePwmFan(opened(pwm_tree, active_low=True, duty=0.25))
    assert pwm_tree.read(0)["duty_cycle"] == "30000"
    fan.apply(1.0)
    assert pwm_tree.read(0)["duty_cycle"] == "0"
    fan.apply(0.0)
    assert pwm_tree.read(0)["duty_cycle"] == "40000"


def test_closing_leaves_the_fan_running_as_it_was(pwm_tree: PwmTree) -> None:
    channel = opened(pwm_tree)
    channel.set_duty(1.0)
    channel.close()
    channel.close()
    assert pwm_tree.read(0)["duty_cycle"] == "40000"
    assert pwm_tree.read(0)["enable"] == "1"


def test_missing_overlay_is_reported_with_the_line_to_add(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"dtoverlay=pwm,pin=18,func=2") as caught:
        find_channel(18, tmp_path / "pwm")
    assert caught.value.status == 3


def test_other_chips_are_named_when_the_right_one_is_missing(tmp_path: Path) -> None:
    tree = PwmTree(tmp_path / "pwm", "1f0009c000.pwm", "pwmchip0")
    with pytest.raises(UserError, match=r"found only pwmchip0 \(1f0009c000\.pwm\)"):
        find_channel(12, tree.root)


def test_gpio_without_hardware_pwm_is_reported_which_ones_have_it(pwm_tree: PwmTree) -> None:
    with pytest.raises(UserError, match=r"GPIO 17 has no hardware PWM on this Pi.*12, 13, 18, 19"):
        find_channel(17, pwm_tree.root)


def test_channel_that_never_appears_is_given_up(pwm_tree: PwmTree) -> None:
    waited: list[float] = []
    with pytest.raises(UserError, match="hardware PWM on GPIO 18: No such file") as caught:
        PwmChannel(
            18,
            frequency_hz=25_000.0,
            active_low=False,
            duty=0.0,
            root=pwm_tree.root,
            wait=waited.append,
        )
    assert caught.value.status == 3
    assert 1.0 < sum(waited) < 5.0


def test_channel_whose_files_come_late_is_waited_for(pwm_tree: PwmTree) -> None:
    opened(pwm_tree)
    assert pwm_tree.waited_s > 0.0


def test_channel_that_something_else_stopped_runs_again_at_the_next_tick(
    pwm_tree: PwmTree,
) -> None:
    channel = opened(pwm_tree, active_low=True, duty=0.5)
    (pwm_tree.chip / "pwm0" / "enable").write_text("0\n")
    channel.set_duty(0.25)
    assert (pwm_tree.read(0)["enable"], share_high(pwm_tree)) == ("1", pytest.approx(0.75))


def test_channel_that_something_else_took_away_is_exported_again(pwm_tree: PwmTree) -> None:
    channel = opened(pwm_tree)
    shutil.rmtree(pwm_tree.chip / "pwm0")
    (pwm_tree.chip / "export").write_text("")
    channel.set_duty(0.25)
    assert (pwm_tree.chip / "export").read_text() == "0"
    assert pwm_tree.read(0)["duty_cycle"] == "10000"
    assert pwm_tree.read(0)["enable"] == "1"
    shutil.rmtree(pwm_tree.chip / "pwm0")
    (pwm_tree.chip / "export").unlink()  # the chip itself is gone
    for _ in range(2):
        with pytest.raises(UserError, match="hardware PWM on GPIO 18: No such file"):
            channel.set_duty(0.25)


def share_high(tree: PwmTree, number: int = 0) -> float:
    """The share of the time in which the pin is high; a stopped channel holds it low."""
    found = tree.read(number)
    if found["enable"] != "1":
        return 0.0
    duty = int(found["duty_cycle"]) / int(found["period"])
    return 1.0 - duty if found["polarity"] == "inversed" else duty


@pytest.mark.parametrize("speed", [0.0, 0.25, 1.0])
def test_behind_a_transistor_the_pin_is_high_for_the_time_the_wire_is_to_be_low(
    pwm_tree: PwmTree, speed: float
) -> None:
    fan = HardwarePwmFan(opened(pwm_tree, active_low=True, duty=1.0))
    fan.apply(speed)
    assert share_high(pwm_tree) == pytest.approx(1.0 - speed)
    fan.close()
    assert share_high(pwm_tree) == pytest.approx(1.0 - speed)


def test_a_released_channel_is_as_before_its_first_start_and_starts_again(
    pwm_tree: PwmTree,
) -> None:
    fan = HardwarePwmFan(opened(pwm_tree, active_low=True, duty=0.0))
    fan.release()
    found = pwm_tree.read(0)
    assert (found["enable"], found["duty_cycle"], found["polarity"]) == ("0", "0", "normal")
    assert share_high(pwm_tree) == 0.0
    fan.apply(0.25)
    assert pwm_tree.read(0)["enable"] == "1"
    assert share_high(pwm_tree) == pytest.approx(0.75)
