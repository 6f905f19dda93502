"""What a review of a day and of a year costs: time, memory, and how it grows.

Run by itself: ``pytest tests/benchmarks/test_review_speed.py -n0 -s``. Figures are printed;
targets: a day 0.3 s beyond the interpreter's start without advice, 1.5 s with advice judged on
fifteen days; a year of minutes 3 s and 150 MiB.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from controller.record import RecordWriter

CONFIG = """\
tent: {{name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: Europe/Rome}}
lamp: {{power: 150 W, photoperiod: {{on: "06:00", off: "22:00"}}}}
fan: {{drive: relay, pin: 17, power: 20 W}}
sensors: [{{name: canopy, role: tent, driver: simulated}}]
record: {{path: {path}}}
"""
START_MS = 1_356_994_800_000  # 2013-01-01, local
FILL = """
WITH RECURSIVE minute (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM minute WHERE n < {count}),
clock AS (SELECT n, n % 1440 / 1440.0 AS share FROM minute),
air AS (
    SELECT n, share > 0.25 AND share < 0.92 AS lit, abs(random()) % 100 / 100.0 AS noise,
        21 + 8 * (share * (1 - share) * 4) - 4 + 3 * abs(n % 525600 / 262800.0 - 1) AS t
    FROM clock
)
INSERT INTO readings SELECT {start} + n * 60000, 60.0, 1, t + noise / 4, t, t + 0.3,
    60 - t / 2 + noise, 55.0, 65.0, 700 + 40 * t, t - 5, t - 3, 55.0,
    CASE WHEN t > 24 THEN 1.0 WHEN lit THEN 0.5 ELSE 0.0 END,
    CASE WHEN t > 24 OR lit THEN 60.0 ELSE 0.0 END, NULL, lit, lit * 60.0, lit,
    CASE WHEN t > 24 THEN 'too_hot' ELSE 'schedule' END, 0
FROM air
"""
MEASURE = """
import resource, subprocess, sys
done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(done.returncode, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("year")
    path = folder / "tent.yaml"
    path.write_text(CONFIG.format(path=folder / "year.sqlite3"), encoding="utf-8")
    from controller.config import load_settings

    loaded = load_settings(path)
    with RecordWriter(folder / "year.sqlite3", durable=False) as writer:
        writer.config(START_MS, loaded.text, loaded.sha256)
    import sqlite3

    with contextlib.closing(sqlite3.connect(folder / "year.sqlite3")) as connection, connection:
        connection.execute(FILL.format(count=525_600, start=START_MS))
    return path


def measured(*argv: object) -> tuple[float, float, float]:
    """Wall time [s], processor time [s] and memory [MiB] of a command."""
    command = [sys.executable, "-c", MEASURE, sys.executable, *map(str, argv)]
    # Compiled modules are kept, as where lungwort is installed.
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    began = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)
    wall = time.perf_counter() - began
    status, cpu, rss = done.stdout.split()
    assert status == "0"
    return wall, float(cpu), float(rss)


def test_cost_of_reviews(config: Path) -> None:
    empty = min(measured("-c", "pass")[0] for _ in range(3))
    print()
    for what in (
        ("--day", "2013-07-18"),
        ("--day", "2013-07-18", "--no-advice"),
        ("--last", "30d"),
        ("--last", "90d"),
        ("--last", "180d"),
        ("--last", "365d"),
    ):
        runs = [measured("-m", "controller", "review", config, *what) for _ in range(3)]
        wall, cpu, rss = min(runs)
        print(
            f"{' '.join(what):30} {wall - empty:6.2f} s beyond the interpreter's start, "
            f"{cpu:5.2f} s of processor, {rss:4.0f} MiB"
        )
        assert rss < 150.0


def test_cost_of_advice(tmp_path: Path) -> None:
    """A day of fifteen with readings every minute, and changes worth judging on all of them."""
    config = Path(__file__).parents[2] / "config" / "chillies.yaml"
    record = tmp_path / "july.sqlite3"
    rehearsed = ("--from", "2013-07-08", "--days", "15", "--record", record)
    measured("-m", "controller", "rehearse", config, *rehearsed)
    empty = min(measured("-c", "pass")[0] for _ in range(3))
    print()
    for what in (("--no-advice",), ()):
        review = ("-m", "controller", "review", config, "--record", record, "--day", "2013-07-18")
        wall, cpu, rss = min(measured(*review, *what) for _ in range(3))
        print(
            f"{what[0] if what else 'with advice':30} {wall - empty:6.2f} s beyond the "
            f"interpreter's start, {cpu:5.2f} s of processor, {rss:4.0f} MiB"
        )
