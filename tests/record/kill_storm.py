"""Kills a writing process again and again, and counts what of the acknowledged is missing.

Run by itself for a longer storm: ``python tests/record/kill_storm.py DIRECTORY ROUNDS SEED``.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
from pathlib import Path

from controller.record import BackgroundRecord, RecordReader, RecordWriter
from controller.record.rows import ReadingRow, SensorRow

START_MS = 1_374_105_600_000


def write_until_killed(path: Path, first: int, out: int) -> None:
    """Acknowledge each event when it is logged, and announce each reading before it is taken."""

    def acknowledge(at_ms: int, name: str, level: str, data: dict[str, object]) -> None:
        os.write(out, f"e {data['n']}\n".encode())

    record = BackgroundRecord(path, emit=acknowledge)
    n = first
    while True:
        for _ in range(3):
            record.event(START_MS + n, "fan.changed", n=n, padding="x" * (n % 400))
            n += 1
        os.write(out, f"r {n}\n".encode())
        record.reading(
            ReadingRow(
                at_ms=START_MS + n,
                interval_s=60.0,
                fan_speed=0.4,
                fan_on_s=60.0,
                lamp_on=True,
                lamp_on_s=60.0,
                in_fan_hours=True,
                rule="schedule",
                sensors=(SensorRow("top", 24.0, 60.0),),
            )
        )
        record.save_state("memory", START_MS + n, {"n": n})
        record.flush()  # in a tent, a whole interval passes here


def storm(path: Path, rounds: int, dice: random.Random) -> dict[str, object]:
    """Kill `rounds` writers of one record at random moments; what was lost."""
    events: set[int] = set()
    readings: list[int] = []
    readings_lost: list[int] = []
    verdicts: set[str] = set()
    for number in range(rounds):
        source, sink = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(source)
            try:
                write_until_killed(path, number * 1_000_000, sink)
            finally:
                os._exit(1)
        os.close(sink)
        begun: list[int] = []
        with os.fdopen(source) as acknowledged:
            # Kill at once after so many lines; the writer is then anywhere in its next ones.
            for _ in range(dice.randrange(1, 60)):
                kind, value = acknowledged.readline().split()
                events.add(int(value)) if kind == "e" else begun.append(int(value))
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            for line in acknowledged:  # what had been acknowledged before the blow
                if line.endswith("\n"):
                    kind, value = line.split()
                    events.add(int(value)) if kind == "e" else begun.append(int(value))
        with RecordReader(path) as reader:
            kept = {row.at_ms - START_MS for row in reader.readings()}
            verdicts.add(str(next(reader.sql("PRAGMA integrity_check"))[0]))
        readings += begun
        readings_lost.append(len(set(begun) - kept))
    RecordWriter(path).close()  # the next start folds the log in
    with RecordReader(path) as reader:
        kept_events = {event.data["n"] for event in reader.events()}
        verdicts.add(str(next(reader.sql("PRAGMA integrity_check"))[0]))
    return {
        "kills": rounds,
        "events_acknowledged": len(events),
        "events_lost": len(events - kept_events),
        "readings_begun": len(readings),
        "most_readings_lost_in_one_kill": max(readings_lost),
        "integrity": sorted(verdicts),
    }


if __name__ == "__main__":
    folder, count, seed = sys.argv[1:]
    print(json.dumps(storm(Path(folder) / "tent.sqlite3", int(count), random.Random(int(seed)))))
