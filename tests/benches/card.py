"""What a day of a tent's record writes to a memory card; `card.sh` is the command."""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from controller.config import Settings, load_settings
from controller.daemon.edges import Edges
from controller.daemon.service import Service
from controller.record import BackgroundRecord, Record, RecordWriter
from simulators.simulated_world import SimulatedWorld, simulated_world

CONFIG = Path(__file__).parents[2] / "config" / "chillies.yaml"


class Sample(NamedTuple):
    """What was done up to an instant.

    Attributes
    ----------
    at_s : float
        Simulated time [s].
    commits, events : int
        Of the record.
    writes, bytes, flushes : int
        Requests to the device, what they wrote, and how often it had to empty its cache.
    """

    at_s: float
    commits: int
    events: int
    writes: int
    bytes: int
    flushes: int


class Card:
    """A mounted file system on a device of its own."""

    def __init__(self, at: Path, device: str) -> None:
        self.at = at
        self._device = device
        self._descriptor = os.open(at, os.O_RDONLY)

    def write_back(self) -> None:
        """Have the kernel write what it holds, as it does within half a minute."""
        ctypes.CDLL(None).syncfs(self._descriptor)

    def counts(self) -> tuple[int, int, int]:
        """Writes, bytes and flushes so far (Documentation/admin-guide/iostats.rst)."""
        for line in Path("/proc/diskstats").read_text("ascii").splitlines():
            words = line.split()
            if words[2] == self._device:
                fields = [int(word) for word in words[3:]]
                return fields[4], fields[6] * 512, fields[15]
        raise LookupError(self._device)

    def close(self) -> None:
        """Leave it."""
        os.close(self._descriptor)


@contextlib.contextmanager
def mounted(block_bytes: int) -> Iterator[Card]:
    """A fresh card, as Raspberry Pi OS mounts its own (noatime, from memory)."""
    with tempfile.TemporaryDirectory(prefix="lungwort-card-") as folder:
        image, at = Path(folder, "image"), Path(folder, "card")
        at.mkdir()
        subprocess.run(["truncate", "-s", "512M", str(image)], check=True)
        subprocess.run(["mkfs.ext4", "-q", "-b", str(block_bytes), str(image)], check=True)
        command = ["losetup", "--find", "--show", str(image)]
        device = subprocess.check_output(command, text=True).strip()
        try:
            subprocess.run(["mount", "-o", "noatime", device, str(at)], check=True)
            card = Card(at, Path(device).name)
            try:
                yield card
            finally:
                card.close()
                subprocess.run(["umount", str(at)], check=True)
        finally:
            subprocess.run(["losetup", "-d", device], check=True)


class CardWorld(SimulatedWorld):
    """A simulated tent with the daemon's own record, in step with the simulated clock."""

    card: Card
    samples: list[Sample]
    commits = 0
    events = 0
    _written_back = 0

    def open_record(self, path: Path, commit_every_s: float) -> Record:
        """Open the record as on a real machine."""
        self._record = BackgroundRecord(
            path,
            clock=self.clock,
            emit=lambda *_: self._add_event(),
            commit_every_s=commit_every_s,
            open_writer=self._counted,
        )
        return self._record

    def _add_event(self) -> None:
        self.events += 1

    def _counted(self, path: Path) -> RecordWriter:
        def count(sql: str) -> None:
            self.commits += sql == "COMMIT"

        writer = RecordWriter(path)
        writer._db.set_trace_callback(count)
        return writer

    def open_edges(self, settings: Settings) -> Edges:
        """Open the rig, and let the record keep up with its clock."""
        edges = super().open_edges(settings)
        air = self.clock.on_advance

        def advance(now_s: float) -> None:
            if air is not None:
                air(now_s)
            self._keep_up(now_s)

        self.clock.on_advance = advance
        return edges

    def _keep_up(self, now_s: float) -> None:
        record = self._record
        while record._is_due() or record._is_writing:
            with record._changed:
                record._changed.notify_all()
            time.sleep(0.0003)
        if self.commits != self._written_back:
            self._written_back = self.commits
            self.card.write_back()
        if now_s >= 3600.0 * len(self.samples):
            self.samples.append(Sample(now_s, self.commits, self.events, *self.card.counts()))


def lived(hours: float, block_bytes: int) -> list[Sample]:
    """Live through so long; a sample an hour."""
    with mounted(block_bytes) as card:
        loaded = load_settings(CONFIG)
        record = loaded.settings.record.changed(path=card.at / "tent.sqlite3")
        loaded = loaded._replace(settings=loaded.settings.changed(record=record))
        world = simulated_world(
            loaded.settings,
            weather=None, first=None, until=None, pace=math.inf, seed=1, record=record.path,
        )  # fmt: skip
        world.__class__ = CardWorld
        assert isinstance(world, CardWorld)
        world.card, world.samples = card, []
        world.until_s = world.from_s + 3600.0 * hours
        Service(CONFIG, loaded, world, listen=False, log_level="error").run()
        return world.samples


def row(what: str, before: Sample, after: Sample) -> str:
    """One line of the table: a stretch, scaled to a day."""
    days = (after.at_s - before.at_s) / 86_400.0
    _, commits, events, writes, written, flushes = (
        a - b for a, b in zip(after, before, strict=True)
    )
    return (
        f"{what:24}{commits / days:9.0f}{events / days:8.0f}{written / days / 1e6:8.1f}"
        f"{writes / days:8.0f}{flushes / days:9.0f}{written / max(1, commits) / 1e3:14.1f}"
    )


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--block-size", type=int, default=4096)
    args = parser.parse_args()
    try:
        samples = lived(2.0 if args.short else args.hours, args.block_size)
    except subprocess.CalledProcessError as error:
        print(f"card: SKIPPED: {error}")
        return 0
    print(f"{'scaled to a day':24}{'commits':>9}{'events':>8}{'MB':>8}{'writes':>8}"
          f"{'flushes':>9}{'kB a commit':>14}")  # fmt: skip
    print(row("all of it", samples[0], samples[-1]))
    # The write-ahead log grows to its thousand pages first, which the file system has to note.
    if len(samples) > 13:
        print(row("the first six hours", samples[0], samples[6]))
        print(row("from the 13th hour on", samples[12], samples[-1]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
