"""Stand-ins for a Pi's hardware: lgpio underneath the real gpiozero, and a PWM tree."""

from __future__ import annotations

import types
from pathlib import Path
from typing import Any


class FakeLgpio(types.ModuleType):
    """As much of lgpio as gpiozero uses, with everything that an outsider could measure.

    `driven` lists every level a line was driven to, and "float" when nothing drove it.
    """

    SET_PULL_NONE, SET_PULL_UP, SET_PULL_DOWN = 128, 32, 64
    RISING_EDGE, FALLING_EDGE, BOTH_EDGES = 1, 2, 3
    _OUTPUT = 2

    class error(Exception):  # noqa: N801, N818 - lgpio's own name
        def __init__(self, value: str) -> None:
            super().__init__(value)
            self.value = value

        def __str__(self) -> str:
            return repr(self.value)

    def __init__(self) -> None:
        super().__init__("lgpio")
        self.driven: dict[int, list[int | str]] = {}
        self.modes: dict[int, str] = {}
        self.busy: set[int] = set()
        self.pwm: dict[int, tuple[float, float]] = {}
        self.chip_is_open = False
        self.chip_error: str | None = None

    def _drive(self, gpio: int, level: int | str) -> None:
        levels = self.driven.setdefault(gpio, [])
        if not levels or levels[-1] != level:
            levels.append(level)

    def _claim(self, gpio: int, mode: str) -> None:
        if gpio in self.busy:
            raise self.error("GPIO busy")
        self.modes[gpio] = mode

    def gpiochip_open(self, chip: int) -> int:
        if self.chip_error:
            raise self.error(self.chip_error)
        self.chip_is_open = True
        return 1

    def gpiochip_close(self, handle: int) -> int:
        self.chip_is_open = False
        return 0

    def gpio_claim_input(self, handle: int, gpio: int, flags: int = 0) -> int:
        self._claim(gpio, "input")
        self._drive(gpio, "float")
        return 0

    def gpio_claim_output(self, handle: int, gpio: int, level: int = 0, flags: int = 0) -> int:
        self._claim(gpio, "output")
        self._drive(gpio, 1 if level else 0)
        return 0

    def gpio_free(self, handle: int, gpio: int) -> int:
        assert gpio in self.modes, "freed twice"
        del self.modes[gpio]  # the level stays: so does the Pi kernel's
        return 0

    def gpio_get_mode(self, handle: int, gpio: int) -> int:
        # A line that was let go of is still driven, and the kernel says so.
        left = "input" if self.driven.get(gpio, ["float"])[-1] == "float" else "output"
        return self._OUTPUT if self.modes.get(gpio, left) == "output" else 0

    def gpio_read(self, handle: int, gpio: int) -> int:
        return int(self.driven[gpio][-1] == 1)

    def gpio_write(self, handle: int, gpio: int, level: int) -> int:
        assert self.modes[gpio] == "output"
        self._drive(gpio, int(level))
        return 0

    def tx_pwm(self, handle: int, gpio: int, frequency: float, duty: float) -> int:
        assert frequency <= 10_000
        if frequency == 0:
            self.pwm.pop(gpio, None)
            self._drive(gpio, 0)  # the worst it may do
        else:
            self.pwm[gpio] = (frequency, duty)
        return 0


class PwmTree:
    """A /sys/class/pwm with one chip, and a kernel that refuses what the real one refuses."""

    def __init__(self, root: Path, device: str = "fe20c000.pwm", chip: str = "pwmchip3") -> None:
        self.root = root
        devices = root.parent / "devices" / device
        self.chip = devices / "pwm" / chip
        self.chip.mkdir(parents=True)
        (self.chip / "export").write_text("")
        (self.chip / "device").symlink_to(devices)
        root.mkdir(exist_ok=True)
        (root / chip).symlink_to(self.chip)
        self.device = devices
        self.waited_s = 0.0

    def time_pulses_of(self, pin: int) -> None:
        """Be the chip of the overlay `pwm-gpio` on this GPIO: its node in the device tree says so.

        Documentation/devicetree/bindings/pwm/pwm-gpio.yaml of the Linux kernel, from memory.
        """
        node = self.device / "of_node"
        node.mkdir()
        (node / "compatible").write_bytes(b"pwm-gpio\0")
        cells = (7, pin, 0)  # handle of the GPIO chip, line, flags
        (node / "gpios").write_bytes(b"".join(cell.to_bytes(4, "big") for cell in cells))

    def make_channel(self, number: int, **values: Any) -> Path:
        channel = self.chip / f"pwm{number}"
        channel.mkdir()
        fresh = {"period": 0, "duty_cycle": 0, "polarity": "normal", "enable": 0}
        for name, value in {**fresh, **values}.items():
            (channel / name).write_text(f"{value}\n")
        return channel

    def wait(self, seconds: float) -> None:
        """Time passes: the kernel has made the channel that was asked for."""
        self.waited_s += seconds
        asked = (self.chip / "export").read_text().strip()
        if asked and not (self.chip / f"pwm{asked}").is_dir():
            self.make_channel(int(asked))

    def read(self, number: int) -> dict[str, str]:
        channel = self.chip / f"pwm{number}"
        return {f.name: f.read_text().partition("\n")[0] for f in channel.iterdir()}
