"""One guest: power on, hear what its daemon logs, have commands run in it, cut its power."""

from __future__ import annotations

import base64
import contextlib
import json
import random
import socket
import subprocess
import threading
import time
from pathlib import Path
from typing import Any, NamedTuple

from disk import Disk, DiskServer, Fate
from image import Image

# Plain emulation on a busy machine: everything may take long.
PATIENCE_S = 900.0


class MachineError(Exception):
    """The guest did not do what a working one does."""


class Said(NamedTuple):
    """A line that the daemon logged, seen by the host."""

    host_s: float
    unit: str
    text: str


class Seen(NamedTuple):
    """A reading that another process found in the record, seen by the host."""

    host_s: float
    newest_ms: int


class Machine:
    """A guest that is powered on when made.

    Parameters
    ----------
    image : Image
        Kernel and initramfs.
    disk : Disk
        Its disk, which outlives it.
    folder : Path
        For sockets and the console's log.
    rtc : str or None
        The clock at power-on, such as 2021-03-01T00:00:00; None for the right time.
    data : Path or None
        The image of a second disk, /dev/vdb.
    options : str
        More for the kernel's command line.
    """

    def __init__(
        self,
        image: Image,
        disk: Disk,
        folder: Path,
        rtc: str | None = None,
        data: Path | None = None,
        options: str = "",
    ) -> None:
        self._disk = disk
        self._folder = folder
        self._server = DiskServer(disk, folder / "disk.sock")
        self.said: list[Said] = []
        self.seen: list[Seen] = []
        self._heard = threading.Condition()
        self._ports: dict[str, socket.socket] = {}
        self._answers: list[str] = []
        self.console = folder / "console.log"
        # The oldest processor that lgpio's wheel runs on: newer ones are emulated more slowly.
        # Mitigations of processor flaws cost an emulated one a third of its speed.
        # On a busy machine the timer of an emulated one is late, which the kernel's check of it at
        # boot takes for a broken one and panics.
        console = "console=ttyS0 quiet panic=5 mitigations=off audit=0 apparmor=0 no_timer_check"
        # The kernel itself notes every level that a GPIO line is given, from the first on.
        trace = "trace_event=gpio:gpio_value,gpio:gpio_direction trace_clock=mono"
        command = [
            "qemu-system-x86_64",
            "-accel",
            "tcg",
            "-cpu",
            "Nehalem",
            "-M",
            "pc",
        ]
        command += ["-m", "512", "-smp", "1", "-display", "none", "-monitor", "none"]
        command += ["-nodefaults", "-no-reboot", "-serial", f"file:{self.console}"]
        command += ["-rtc", f"base={rtc or 'utc'},clock=host"]
        command += ["-kernel", str(image.kernel), "-initrd", str(image.initrd)]
        command += ["-append", f"root=/dev/vda rw {console} {trace} {options}"]
        nbd = f"nbd+unix:///?socket={folder / 'disk.sock'}"
        command += ["-drive", f"if=none,id=d0,file={nbd},format=raw,cache=writeback"]
        command += ["-device", "virtio-blk-pci,drive=d0", "-device", "virtio-rng-pci"]
        if data is not None:
            command += ["-drive", f"if=none,id=d1,file={data},format=raw,cache=writeback"]
            command += ["-device", "virtio-blk-pci,drive=d1"]
        command += ["-device", "virtio-serial-pci"]
        for name in ("hands", "ears", "eyes"):
            path = folder / f"{name}.sock"
            path.unlink(missing_ok=True)
            command += ["-chardev", f"socket,id={name},path={path},server=on,wait=off"]
            command += ["-device", f"virtserialport,chardev={name},name=bench.{name}"]
        self.on_s = time.monotonic()
        with (folder / "qemu.log").open("w") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        for name, take in (
            ("hands", self._take_answer),
            ("ears", self._take_log),
            ("eyes", self._take_sight),
        ):
            self._ports[name] = self._connect(folder / f"{name}.sock")
            threading.Thread(target=self._listen, args=(name, take), daemon=True).start()

    def _connect(self, path: Path) -> socket.socket:
        port = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        until_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                port.connect(str(path))
                return port
            except OSError:
                if self._process.poll() is not None or time.monotonic() > until_s:
                    raise MachineError(f"QEMU did not start:\n{self._tail('qemu.log')}") from None
                time.sleep(0.05)

    def _listen(self, name: str, take: Any) -> None:
        with contextlib.suppress(OSError):
            for line in self._ports[name].makefile("r", encoding="utf-8", errors="replace"):
                host_s = time.monotonic()
                # A line that the cut left unfinished was not told.
                if line.endswith("\n"):
                    with self._heard:
                        take(host_s, line.strip())
                        self._heard.notify_all()

    def _take_answer(self, _: float, line: str) -> None:
        self._answers.append(line)

    def _take_log(self, host_s: float, line: str) -> None:
        with contextlib.suppress(ValueError, KeyError):
            entry = json.loads(line)
            self.said.append(Said(host_s, str(entry["_SYSTEMD_UNIT"]), str(entry["MESSAGE"])))

    def _take_sight(self, host_s: float, line: str) -> None:
        with contextlib.suppress(ValueError):
            self.seen.append(Seen(host_s, int(line)))

    def _tail(self, name: str) -> str:
        with contextlib.suppress(OSError):
            return "\n".join((self._folder / name).read_text("utf-8", "replace").splitlines()[-15:])
        return ""

    def ask(self, command: str, timeout_s: float = PATIENCE_S) -> tuple[int, str]:
        """Have a shell command run in the guest; its status and output."""
        with self._heard:
            before = len(self._answers)
            self._ports["hands"].sendall(base64.b64encode(command.encode()) + b"\n")
            until_s = time.monotonic() + timeout_s
            while len(self._answers) <= before:
                if self._process.poll() is not None:
                    raise MachineError(f"the guest went off:\n{self._tail('console.log')}")
                left_s = until_s - time.monotonic()
                if left_s <= 0:
                    raise MachineError(
                        f"no answer for {timeout_s:.0f} s: {command}\n{self._tail('console.log')}"
                    )
                self._heard.wait(min(left_s, 1.0))
            status, _, coded = self._answers[before].partition(" ")
        return int(status), base64.b64decode(coded).decode("utf-8", "replace").rstrip("\n")

    def tell(self, command: str, timeout_s: float = PATIENCE_S) -> str:
        """Have a shell command run that must succeed; its output."""
        status, output = self.ask(command, timeout_s)
        if status:
            raise MachineError(f"{command!r} ended with {status}:\n{output}")
        return output

    def wait_until(self, command: str, timeout_s: float) -> float | None:
        """Ask again and again until the command succeeds; after how many seconds, or None."""
        began_s = time.monotonic()
        while time.monotonic() - began_s < timeout_s:
            status, _ = self.ask(command)
            if status == 0:
                return time.monotonic() - began_s
            time.sleep(0.3)
        return None

    def wait_awake(self) -> None:
        """Wait until the guest can be asked."""
        self.tell("true")

    def is_on(self) -> bool:
        """Whether it runs."""
        return self._process.poll() is None

    def power_off(self) -> None:
        """Shut down in order."""
        with contextlib.suppress(MachineError):
            self.ask("systemctl --no-block poweroff", 30.0)
        try:
            self._process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            raise MachineError(f"no power-off:\n{self._tail('console.log')}") from None
        finally:
            self._end()
        self._disk.flush()

    def cut(self, fate: Fate, rng: random.Random) -> int:
        """Cut the power; how many blocks the disk's cache held."""
        self._process.kill()
        self._process.wait()
        self._end()
        return self._disk.cut(fate, rng)

    def _end(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._server.close()
        for port in self._ports.values():
            port.close()
