"""The life of one guest: boot, write, power cut, boot, look; again and again on one disk."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import judge
from disk import Disk, Fate
from image import Image
from lines import changes, driven, levels
from machine import PATIENCE_S, Machine, MachineError, Said, Seen
from unit_checks import CHILLIES, FAN

RECORD = "/var/lib/lungwort/chillies.sqlite3"
_NAG = f"""
setsid nohup /opt/lungwort/bin/python /usr/local/sbin/bench_nag.py {RECORD} \
/run/lungwort/chillies.sock SEED >/tmp/nag.log 2>&1 </dev/null 3>&- &
"""
# A Pi has no clock: what one believes at power-on that never heard the time.
WRONG_CLOCK = "2021-03-01T00:00:00"
# `record.interval` and `record.commit_every` of the bench's tents.
INTERVAL_S = 5.0
COMMIT_EVERY_S = 30.0
# A reading is due at the tick (every 2 s) after its interval, and then waits for a commit, which an
# emulated processor on a busy machine draws out.
LATE_S = 4.0
# Of the cuts: those that come while the guest still boots, and boots with a wrong clock.
_WHILE_BOOTING, _WRONG_CLOCK = 0.2, 0.25
# The power fails with one of so many writes to come.
_MOST_WRITES = 60


class Cut(NamedTuple):
    """One power cut and the boot after it.

    Attributes
    ----------
    fate : str
        Of what the disk had not been told to flush.
    moment_s : float
        After power-on [s].
    while_booting : bool
        Whether the daemon had not said anything yet.
    blocks_unflushed : int
        4-KiB blocks in the disk's cache.
    clock_wrong : bool
        Whether the boot after the cut began with a wrong clock.
    integrity : str
        What SQLite's integrity_check says after it.
    set_aside : int
        Records found damaged, over the whole life.
    acknowledged, lost : int
        Events whose log line had left the guest, over the whole life; those that the record lacks.
    readings_gone : int
        Readings that another process had seen in the record and that it lacks.
    unrecorded_s : float or None
        From the last kept reading's end to the last sign of life before the cut [s].
    power_to_unit_s, unit_to_fan_s, power_to_fan_s : float
        From power-on to the start of the service, from there to the fan's right level, the sum [s].
    fan_levels : list
        Every level of the fan's line since that boot.
    """

    fate: str
    moment_s: float
    while_booting: bool
    blocks_unflushed: int
    clock_wrong: bool
    integrity: str
    set_aside: int
    acknowledged: int
    lost: int
    readings_gone: int
    unrecorded_s: float | None
    power_to_unit_s: float
    unit_to_fan_s: float
    power_to_fan_s: float
    fan_levels: list[int | None]


class Boot(NamedTuple):
    """What is seen of one boot."""

    power_to_unit_s: float
    unit_to_fan_s: float
    fan_levels: list[int | None]
    record: judge.Record


class Life:
    """One guest on one disk.

    Parameters
    ----------
    image, disk
        What it boots.
    folder : Path
        For sockets.
    rng : random.Random
        Chooses the moments.
    say : callable
        Told of each step.
    """

    def __init__(
        self, image: Image, disk: Disk, folder: Path, rng: random.Random, say: Callable[[str], None]
    ) -> None:
        self._image, self._disk, self._folder = image, disk, folder
        self._rng, self._say = rng, say
        self._machine: Machine | None = None
        self.said: list[Said] = []
        self.seen: list[Seen] = []
        self.cuts: list[Cut] = []
        self.control_lost: int | None = None
        self.broke: str | None = None
        # From power-on to the fan's right level, as last seen.
        self._usual_s = 30.0

    def live(self, cuts: int, fate: Fate | None, until_s: float) -> None:
        """Boot and cut, so many times or until an instant; `fate` None: in turns."""
        turns = [Fate.LOST, Fate.MIXED, Fate.MIXED, Fate.KEPT]
        try:
            self._boot(wrong_clock=False)
            for number in range(cuts):
                if number and time.monotonic() > until_s:
                    self._say(f"out of time after {number} cuts")
                    break
                chosen = fate or turns[number % len(turns)]
                early = number > 0 and self._rng.random() < _WHILE_BOOTING
                self._cut(chosen, early)
                cut = self.cuts[-1]
                self._say(
                    f"cut {number + 1} of {cuts}: {cut.moment_s:.0f} s after power-on, {cut.fate}; "
                    f"integrity {cut.integrity}, {cut.lost} of {cut.acknowledged} events lost, "
                    f"fan right {cut.power_to_fan_s:.1f} s after power-on"
                )
            assert self._machine is not None
            self._machine.power_off()
        finally:
            self._end()

    def control(self) -> None:
        """Cut the power of a disk that only pretends to flush: losses that must be noticed."""
        try:
            self._boot(wrong_clock=False)
            self._disk.lies = True
            self._work(10.0)
            said = list(self._machine.said) if self._machine else []
            self._end(Fate.LYING)
            self._disk.lies = False
            boot = self._boot(wrong_clock=False)
            self.control_lost = len(judge.events_lost(judge.acknowledged(said), boot.record))
            self._say(f"control, a disk that lies: {self.control_lost} lost events noticed")
        finally:
            self._disk.lies = False
            self._end()

    def _boot(self, wrong_clock: bool) -> Boot:
        self._machine = machine = Machine(
            self._image, self._disk, self._folder, WRONG_CLOCK if wrong_clock else None
        )
        machine.wait_awake()
        asked_s = time.monotonic()
        uptime_s = float(machine.tell("cut -d' ' -f1 /proc/uptime"))
        # When the kernel's clock began, on the host's; half the answer's way is guessed.
        kernel_s = (asked_s + time.monotonic()) / 2 - uptime_s - machine.on_s
        active = f'[ "$(systemctl is-active {CHILLIES})" = active ]'
        machine.wait_until(active, 180.0)
        started_us = int(
            machine.tell(f"systemctl show -P ExecMainStartTimestampMonotonic {CHILLIES}")
        )
        (fan,) = levels(machine, FAN)
        right_s = next((event.at_s for event in fan if event.level == 1), None)
        if right_s is None:
            raise MachineError(f"the fan's line was never high; it had the levels {changes(fan)}")
        self._usual_s = kernel_s + right_s
        dump = machine.tell(f"/opt/lungwort/bin/python /usr/local/sbin/bench_record.py {RECORD}")
        return Boot(
            kernel_s + started_us / 1e6,
            right_s - started_us / 1e6,
            driven(fan),
            judge.parse_record(dump),
        )

    def _work(self, seconds: float) -> None:
        """Let the daemon write for a while, counted from the first thing it was asked to do."""
        machine = self._machine
        assert machine is not None
        machine.tell(_NAG.replace("SEED", str(self._rng.randrange(10**6))))
        began_s = time.monotonic()
        while not any('"hold.set"' in said.text for said in list(machine.said)):
            if time.monotonic() - began_s > PATIENCE_S:
                raise MachineError("the daemon was asked to hold its fan and never said so")
            time.sleep(0.2)
        time.sleep(seconds)

    def _cut(self, fate: Fate, early: bool) -> None:
        """Cut at a random moment, boot again and look."""
        rng = self._rng
        if early:
            # The guest is up already: it is shut down first, to be caught while it boots.
            self._keep_heard()
            assert self._machine is not None
            self._machine.power_off()
            self._machine = Machine(self._image, self._disk, self._folder)
            time.sleep(rng.uniform(1.0, self._usual_s))
        else:
            self._work(rng.uniform(0.0, 20.0))
        # Within a write: the daemon alone makes some every second.
        self._disk.fail_after(rng.randint(1, _MOST_WRITES))
        self._disk.power_failed.wait(10.0)
        machine = self._machine
        assert machine is not None
        moment_s = time.monotonic() - machine.on_s
        in_cache = self._end(fate)
        heard = judge.acknowledged(machine.said)
        wrong_clock = rng.random() < _WRONG_CLOCK
        boot = self._boot(wrong_clock)
        everything = judge.acknowledged(self.said)
        self.cuts.append(
            Cut(
                fate=fate.value,
                moment_s=round(moment_s, 1),
                while_booting=not heard,
                blocks_unflushed=in_cache,
                clock_wrong=wrong_clock,
                integrity=boot.record.integrity,
                set_aside=len(boot.record.set_aside),
                acknowledged=len(everything),
                lost=len(judge.events_lost(everything, boot.record)),
                readings_gone=judge.readings_unsaid(self.seen, boot.record),
                unrecorded_s=judge.unrecorded_s(heard, boot.record) if heard else None,
                power_to_unit_s=round(boot.power_to_unit_s, 2),
                unit_to_fan_s=round(boot.unit_to_fan_s, 2),
                power_to_fan_s=round(boot.power_to_unit_s + boot.unit_to_fan_s, 2),
                fan_levels=boot.fan_levels,
            )
        )

    def _keep_heard(self) -> None:
        assert self._machine is not None
        self.said += self._machine.said
        self.seen += self._machine.seen
        self._machine.said, self._machine.seen = [], []

    def _end(self, fate: Fate = Fate.KEPT) -> int:
        """Cut the power, if it is on, and take note of what was heard."""
        machine = self._machine
        if machine is None:
            return 0
        in_cache = machine.cut(fate, self._rng) if machine.is_on() else 0
        self.said += machine.said
        self.seen += machine.seen
        self._machine = None
        return in_cache
