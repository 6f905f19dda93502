"""What systemd/70-lungwort.rules does when a bus or a sensor appears.

Syntax and substitutions: udev(7). `name address` is what an I2C bus's `new_device` takes: the
kernel's Documentation/i2c/instantiating-devices.rst, method 4.
"""

from __future__ import annotations

import os
import re
import subprocess
from fnmatch import fnmatch
from pathlib import Path

import pytest

from controller.kernel_sensors import I2C_PARTS, KERNEL_SENSORS

RULES = Path(__file__).parents[2] / "systemd" / "70-lungwort.rules"


# "$name" is udev's before it is the shell's, even where it is written "$$name" (udev 252, tried).
_UDEVS_OWN = (
    "kernel number devpath id driver attr env major minor result parent name links root sys"
)


def _rule(subsystem: str, word: str) -> dict[str, str]:
    """The one rule for a subsystem that has a word in it: what it compares and does."""
    lines = [
        line
        for line in RULES.read_text("utf-8").splitlines()
        if line.startswith(f'SUBSYSTEM=="{subsystem}"') and word in line
    ]
    assert len(lines) == 1
    return dict(re.findall(r'([A-Z]+(?:\{\w+\})?)[=+]+"([^"]*)"', lines[0]))


def _named_to_kernel(folder: Path, text: str) -> list[str]:
    """What the rule writes to a bus's `new_device` with such a list of parts."""
    bus = folder / "sys" / "bus"
    bus.mkdir(parents=True)
    os.mkfifo(bus / "new_device")
    kernel = os.open(bus / "new_device", os.O_RDWR | os.O_NONBLOCK)
    (folder / "i2c-1").write_text(text)
    command = _rule("i2c", "new_device")["RUN"]
    for written, meant in (
        ("/sys%p", str(bus)),
        ("/etc/lungwort/%k", str(folder / "i2c-1")),
        ("$$", "$"),
    ):
        assert written in command
        command = command.replace(written, meant)
    program, flag, script = command.split(" ", 2)
    subprocess.run([program, flag, script.strip("'")], check=True)
    try:
        return os.read(kernel, 65536).decode().splitlines()
    finally:
        os.close(kernel)


def test_parts_without_an_overlay_are_named_to_the_kernel_at_each_start(tmp_path: Path) -> None:
    parts = [row.new_device for row in KERNEL_SENSORS if row.new_device]
    assert len(parts) >= 4
    assert _named_to_kernel(tmp_path, "\n".join(parts) + "\n") == parts


@pytest.mark.parametrize("part", ["scd30", "scd40", "scd41"])
def test_a_part_that_its_driver_does_not_name_has_its_driver_loaded(part: str) -> None:
    """scd4x.c and scd30_i2c.c of Linux 6.12 have no table of I2C names: nothing loads them else."""
    rules = [
        dict(re.findall(r'([A-Z]+(?:\{\w+\})?)[=+]+"([^"]*)"', line))
        for line in RULES.read_text("utf-8").splitlines()
        if line.startswith('SUBSYSTEM=="i2c"')
    ]
    loads = [r["RUN{builtin}"] for r in rules if fnmatch(part, r.get("ATTR{name}", ""))]
    assert loads == ["kmod load " + {"scd30": "scd30_i2c"}.get(part, "scd4x")]


@pytest.mark.parametrize("script", ["install.sh", "debian/lungwort.postinst"])
def test_an_installation_has_the_rules_done_without_a_reboot(script: str) -> None:
    """`udevadm trigger` says "change" unless told otherwise (udevadm(8)); these wait for "add"."""
    actions = set()
    for line in (RULES.parent / script).read_text("utf-8").splitlines():
        if "udevadm trigger" in line:
            action = re.search(r"--action=(\w+)", line)
            for subsystem in re.findall(r"--subsystem-match=(\w+)", line):
                actions.add((subsystem, "change" if action is None else action[1]))
    assert actions == {("pwm", "change"), ("gpio", "change"), ("i2c", "add"), ("iio", "add")}


def test_a_last_line_without_an_end_and_a_remark_cost_no_part(tmp_path: Path) -> None:
    assert _named_to_kernel(tmp_path, "# leaves\nmlx90614 0x5a")[-1] == "mlx90614 0x5a"


def test_no_word_of_the_shell_is_one_that_udev_replaces() -> None:
    own = tuple(f"$${word}" for word in (*_UDEVS_OWN.split(), "devnode"))
    commands = re.findall(r"sh -c '(.*)'\"", RULES.read_text("utf-8"))
    assert len(commands) == 3
    assert not [
        word for line in commands for word in re.findall(r"\$\$\w+", line) if word.startswith(own)
    ]


def test_the_list_that_users_are_told_of_is_the_one_of_the_pi_s_bus() -> None:
    rule = _rule("i2c", "new_device")
    folder, bus = os.path.split(I2C_PARTS)
    assert rule["TEST"] == f"{folder}/%k"
    assert rule["ACTION"] == "add"
    assert bus == "i2c-1"
    assert rule["KERNEL"] == "i2c-[0-9]*"  # a bus, not a part on it, such as "1-0038"


@pytest.mark.parametrize("row", [row for row in KERNEL_SENSORS if "co2" in row.measures])
def test_a_co2_sensor_does_not_take_a_tents_least_for_fresh_air(row: object) -> None:
    rule = _rule("iio", "calibration")
    assert rule["TEST"] == "calibration_auto_enable"
    assert rule["ATTR{calibration_auto_enable}"] == "0"
    assert rule["TEST"] in row.care  # type: ignore[attr-defined]
