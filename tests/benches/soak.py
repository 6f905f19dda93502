"""Run the real daemon for a simulated year and watch it from outside; see soak.sh.

Weather is a real year at an airfield (simulators/weather/README.md), carried on into the next year
by repeating it. While `lungwort run --simulate --pace max` works, this process reads what the
kernel tells of it: resident memory, open files, threads, and how large the record is. At the end
the record itself is asked: one tick every 2 s, one reading every interval, no tick that failed.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import datetime as dt
import json
import os
import platform
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

ROOT = Path(__file__).parents[2]
WEATHER = ROOT / "simulators" / "weather" / "airfield-2013.csv"
FIRST = dt.date(2013, 1, 2)
ZONE = ZoneInfo("America/New_York")
DAY_S = 86_400
TICK_S = 2
INTERVAL_S = 60
# What a year may add and still count as flat: an allocator's noise, no leak. A single object kept
# per tick would be 15.8 million of them.
FLAT_MIB = 2.0
# Of the size that the first weeks foretell.
SIZE_WITHIN = 0.25
SHORT_DAYS = 3

# An invented tent that uses what a tent can have: wires decoded pulse by pulse, a tachometer,
# locked out overrides and purges; it forgets after 240 days, and copies its record every week.
CONFIG = """\
tent: {{name: soak, width: 32 in, depth: 32 in, height: 63 in}}
place: {{timezone: America/New_York}}
lamp: {{power: 150 W, photoperiod: {{on: 06:00, off: 22:00}}}}
fan:
  {{drive: hardware_pwm, pin: 18, free_flow: 110 cfm, max_pressure: 1.2 inH2O, power: 22 W,
   tachometer: {{pin: 24}}}}
schedule: {{day_speed: 50 %, night_speed: 0 %, purge: {{every: 2 h, length: 5 min, speed: 80 %}}}}
sensors:
  - {{name: canopy, role: tent, driver: dht22, pin: 4}}
  - {{name: room, role: intake, driver: dht22, pin: 17}}
crop: {{kind: pepper, plants: 4, stage: fruiting}}
energy: {{price: 0.18 USD/kWh}}
record: {{path: {record}, interval: {interval_s} s, keep: {keep_days} days, backup_to: {backup}}}
"""


class Sample(NamedTuple):
    """The daemon as the kernel sees it, at a simulated day."""

    day: float
    resident_mib: float
    open_files: int
    threads: int
    record_mib: float


class SoakError(Exception):
    """The daemon could not be watched to the end."""


def write_weather(path: Path, days: int) -> None:
    """Carry the airfield's year on for as long as is asked, whole years later.

    The file ends 31 h before it begins anew: that stretch is filled with the day before.
    """
    with WEATHER.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    series = [(dt.datetime.fromisoformat(row.pop("time_utc")), row) for row in rows]
    year = dt.timedelta(days=365)
    while series[-1][0] < series[0][0] + year - dt.timedelta(hours=1):
        series.append((series[-1][0] + dt.timedelta(hours=1), series[-24][1]))
    until = dt.datetime.combine(FIRST, dt.time(), dt.UTC) + dt.timedelta(days=days + 2)
    with path.open("w", encoding="utf-8", newline="") as file:
        names = list(series[0][1])
        file.write(",".join(["time_utc", *names]) + "\n")
        years = 0
        while series[0][0] + years * year <= until:
            for at, row in series:
                stamp = (at + years * year).strftime("%Y-%m-%dT%H:%M:%SZ")
                file.write(",".join([stamp, *(row[name] for name in names)]) + "\n")
            years += 1


def midnight_ms(day: int) -> int:
    """Give the local midnight at which a simulated day begins [Unix ms]."""
    midnight = dt.datetime.combine(FIRST + dt.timedelta(days=day), dt.time(), ZONE)
    return round(midnight.timestamp() * 1000)


def look(pid: int, record: Path, from_ms: int) -> Sample | None:
    """Look at the daemon once; None before its first reading and after its end."""
    size = sum(f.stat().st_size for f in record.parent.glob(record.name + "*"))
    try:
        with contextlib.closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True)) as db:
            (at_ms,) = db.execute("SELECT max(at_ms) FROM readings").fetchone()
            (ended,) = db.execute(
                "SELECT count(*) FROM events WHERE name = 'daemon.stopped'"
            ).fetchone()
        status = Path(f"/proc/{pid}/status").read_text("ascii")
        files = len(os.listdir(f"/proc/{pid}/fd"))  # noqa: PTH208 (as a count, not as paths)
    except (sqlite3.Error, OSError):
        return None
    fields = dict(line.split(":", 1) for line in status.splitlines() if ":" in line)
    if at_ms is None or ended or "VmRSS" not in fields:
        return None
    return Sample(
        (at_ms - from_ms) / 1000 / DAY_S,
        int(fields["VmRSS"].split()[0]) / 1024,
        files,
        int(fields["Threads"]),
        size / 2**20,
    )


def watch(folder: Path, days: int, every_s: float) -> tuple[list[Sample], float]:
    """Run the daemon to its end; the samples, and how long it took [s]."""
    weather, config, record = folder / "weather.csv", folder / "soak.yaml", folder / "soak.sqlite3"
    write_weather(weather, days)
    keep_days = min(240, max(1, days * 2 // 3))
    config.write_text(
        CONFIG.format(
            record=record,
            interval_s=INTERVAL_S,
            keep_days=keep_days,
            backup=folder / "backup.sqlite3",
        ),
        "utf-8",
    )
    command = [sys.executable, "-m", "controller", "run", str(config), "--simulate"]
    command += ["--pace", "max", "--weather", str(weather), "--record", str(record)]
    command += ["--from", str(FIRST), "--until", str(FIRST + dt.timedelta(days=days))]
    command += ["--log", "error"]
    from_ms = midnight_ms(0)
    samples: list[Sample] = []
    began_s = time.monotonic()
    with (folder / "log").open("w", encoding="utf-8") as log:
        process = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log)
        try:
            said_at_day = 0.0
            while process.poll() is None:
                sample = look(process.pid, record, from_ms)
                if sample is not None:
                    samples.append(sample)
                    if sample.day >= said_at_day:
                        said_at_day = sample.day + max(1.0, days / 20)
                        print(
                            f"day {sample.day:5.1f}: {sample.resident_mib:6.1f} MiB resident, "
                            f"{sample.open_files} files, {sample.threads} threads, "
                            f"record {sample.record_mib:.1f} MiB",
                            flush=True,
                        )
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.wait(every_s)
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
    if process.returncode != 0:
        raise SoakError(
            f"the daemon ended with status {process.returncode}:\n"
            + (folder / "log").read_text("utf-8")[-2000:]
        )
    return samples, time.monotonic() - began_s


def ask_record(record: Path, days: int) -> dict[str, Any]:
    """What the record says of the run."""
    with contextlib.closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True)) as db:
        (ended,) = db.execute("SELECT data FROM events WHERE name = 'daemon.stopped'").fetchone()
        counts = dict(db.execute("SELECT name, count(*) FROM events GROUP BY name"))
        first_ms, last_ms, readings = db.execute(
            "SELECT min(at_ms), max(at_ms), count(*) FROM readings"
        ).fetchone()
        (longest_ms,) = db.execute(
            "SELECT max(gap) FROM (SELECT at_ms - lag(at_ms) OVER (ORDER BY at_ms) AS gap "
            "FROM readings)"
        ).fetchone()
        (verdict,) = db.execute("PRAGMA integrity_check(1)").fetchone()
    return {
        # The run's first tick is at its first instant and its last one at its last.
        "ticks": json.loads(ended)["ticks"],
        "ticks_expected": (midnight_ms(days) - midnight_ms(0)) // 1000 // TICK_S + 1,
        "ticks_failed": counts.get("tick.failed", 0),
        "readings_kept": readings,
        "readings_expected": round((last_ms - first_ms) / 1000 / INTERVAL_S) + 1,
        "longest_gap_s": longest_ms / 1000,
        "events_kept": sum(counts.values()),
        "overrides_engaged": counts.get("override.engaged", 0),
        "days_summarised": counts.get("day.summarised", 0),
        "backups_written": counts.get("backup.written", 0),
        "times_pruned": counts.get("record.pruned", 0),
        "jobs_failed": counts.get("job.failed", 0),
        "integrity": verdict,
    }


def growth(samples: list[Sample], name: str) -> tuple[float, float, float]:
    """Median after the start, median at the end, and the most, of one figure."""
    values = [getattr(s, name) for s in samples]
    after_start = values[len(values) // 10 : len(values) // 4 + 1]
    at_end = values[-max(1, len(values) // 10) :]
    return statistics.median(after_start), statistics.median(at_end), max(values)


def predicted_size(samples: list[Sample], keep_days: int) -> float | None:
    """Size that the second to sixth week foretell for the end, in MiB; None in a short run."""
    early = [s for s in samples if 7 <= s.day <= 42]
    if len(early) < 10 or early[-1].day - early[0].day < 20:
        return None
    slope, offset = statistics.linear_regression(
        [s.day for s in early], [s.record_mib for s in early]
    )
    return offset + slope * min(keep_days, samples[-1].day)


def judge(samples: list[Sample], asked: dict[str, Any], days: int) -> tuple[list[str], Any]:
    """Say what is wrong, and give the figures."""
    if len(samples) < 10:
        raise SoakError(f"seen {len(samples)} times only: too short to judge")
    resident = growth(samples, "resident_mib")
    files, threads = growth(samples, "open_files"), growth(samples, "threads")
    keep_days = min(240, max(1, days * 2 // 3))
    size, foretold = samples[-1].record_mib, predicted_size(samples, keep_days)
    wrong = []
    if resident[1] - resident[0] > FLAT_MIB:
        wrong.append(f"memory grew from {resident[0]:.1f} to {resident[1]:.1f} MiB")
    if files[1] > files[0]:
        wrong.append(f"open files grew from {files[0]:.0f} to {files[1]:.0f}")
    if threads[1] > threads[0]:
        wrong.append(f"threads grew from {threads[0]:.0f} to {threads[1]:.0f}")
    if foretold is not None and abs(size / foretold - 1) > SIZE_WITHIN:
        wrong.append(f"the record is {size:.1f} MiB, foretold {foretold:.1f} MiB")
    if asked["ticks"] != asked["ticks_expected"] or asked["ticks_failed"]:
        wrong.append(
            f"{asked['ticks']} ticks of {asked['ticks_expected']}, {asked['ticks_failed']} failed"
        )
    if asked["readings_kept"] != asked["readings_expected"]:
        wrong.append(f"{asked['readings_kept']} readings of {asked['readings_expected']}")
    if asked["jobs_failed"] or asked["integrity"] != "ok":
        wrong.append(f"{asked['jobs_failed']} jobs failed, integrity: {asked['integrity']}")
    step = max(1, len(samples) // 40)
    figures = {
        "bench": "soak",
        "simulated_days": days,
        "resident_mib": {
            "after_start": round(resident[0], 2),
            "at_end": round(resident[1], 2),
            "most": round(resident[2], 2),
        },
        "open_files": {"after_start": files[0], "at_end": files[1], "most": files[2]},
        "threads": {"after_start": threads[0], "at_end": threads[1], "most": threads[2]},
        "record_mib": round(size, 2),
        "record_foretold_mib": None if foretold is None else round(foretold, 2),
        "record_keeps_days": keep_days,
        **asked,
        "wrong": wrong,
        "samples": [
            [round(s.day, 1), round(s.resident_mib, 2), s.open_files, round(s.record_mib, 2)]
            for s in samples[::step]
        ],
    }
    return wrong, figures


def table(figures: dict[str, Any]) -> str:
    """Give the figures as text."""

    def grown(name: str) -> str:
        g = figures[name]
        return (
            f"{g['after_start']:g} after the start, {g['at_end']:g} at the end, {g['most']:g} most"
        )

    foretold = figures["record_foretold_mib"]
    rows = [
        ("simulated days", f"{figures['simulated_days']}"),
        ("real time", f"{figures['took_s'] / 60:.0f} min"),
        ("ticks", f"{figures['ticks']} of {figures['ticks_expected']}"),
        ("ticks failed", f"{figures['ticks_failed']}"),
        ("readings kept", f"{figures['readings_kept']} of {figures['readings_expected']}"),
        ("resident memory, MiB", grown("resident_mib")),
        ("open files", grown("open_files")),
        ("threads", grown("threads")),
        (
            "record, MiB",
            f"{figures['record_mib']}"
            + ("" if foretold is None else f", foretold {foretold}")
            + f" (keeps {figures['record_keeps_days']} days)",
        ),
        ("events kept", f"{figures['events_kept']}"),
        ("days summarised", f"{figures['days_summarised']} within what is kept"),
        ("integrity check", figures["integrity"]),
    ]
    return "\n".join(f"{name:24}{value}" for name, value in rows)


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--days", type=int, default=365, help="simulated days")
    parser.add_argument("--short", action="store_true", help=f"{SHORT_DAYS} days, for CI")
    parser.add_argument("--json", type=Path, help="write the figures there")
    parser.add_argument("--keep", type=Path, help="leave the record and the log there")
    args = parser.parse_args()
    days = SHORT_DAYS if args.short else args.days
    # Ended from outside: the daemon and the temporary files go all the same.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    with tempfile.TemporaryDirectory(prefix="lungwort-soak-") as temporary:
        folder = args.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        print(f"soak: {days} simulated days in {folder}", flush=True)
        try:
            samples, took_s = watch(folder, days, every_s=0.5 if days < 30 else 5.0)
            wrong, figures = judge(samples, ask_record(folder / "soak.sqlite3", days), days)
        except SoakError as failure:
            print(f"soak: FAILED: {failure}", file=sys.stderr)
            return 1
    figures["took_s"] = round(took_s)
    figures["python"] = platform.python_version()
    figures["run_on"] = dt.datetime.now(dt.UTC).date().isoformat()
    print(table(figures))
    if args.json is not None:
        args.json.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")
    for problem in wrong:
        print(f"soak: FAILED: {problem}", file=sys.stderr)
    print("soak: " + ("FAILED" if wrong else "passed"))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
