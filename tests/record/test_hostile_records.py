"""Whatever a record holds, who reads it is refused or served within bounds, and told in words.

The bounds are the kernel's, setrlimit(2), on a child process: processor time with the start of
the interpreter, and address space, which is more than the memory that is used.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from hostile_records import CONFIG, HOSTILE, ROOT, plain_record

from controller.record import RecordError, RecordReader
from controller.record.guard import hold_schema

CPU_S = 4  # whole seconds; 2 s of reading at most, and a slow machine's start
ADDRESSES_BYTES = 512 << 20
RESIDENT_KIB = 200 << 10

COMMANDS = {
    "now": ("now", "{config}", "--record", "{record}"),
    "events": ("events", "{config}", "--record", "{record}"),
    "alarms": ("alarms", "{config}", "--record", "{record}"),
    "review": ("review", "{config}", "--record", "{record}", "--json"),
    "readings": ("review", "{config}", "--record", "{record}", "--csv", "readings"),
    "replay": ("replay", "{record}", "--config", "{config}"),
}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path: Path = tmp_path_factory.mktemp("sound") / "tent.sqlite3"
    plain_record(path)
    return path


# The peak of its own memory: what the kernel reports of a child that was waited for counts the
# memory of the process that it was forked from.
BOUNDED = """\
import resource, sys
resource.setrlimit(resource.RLIMIT_CPU, (int(sys.argv[1]),) * 2)
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]),) * 2)
from controller.__main__ import main
status = main(sys.argv[4:])
with open("/proc/self/status") as file:
    peak = next(line.split()[1] for line in file if line.startswith("VmHWM:"))
with open(sys.argv[3], "w") as file:
    file.write(peak)
sys.exit(status)
"""


def run(command: str, record: Path) -> tuple[int, str, int]:
    """Run a command within the bounds; its exit status, what it printed, its memory [KiB]."""
    words = [word.format(config=CONFIG, record=record) for word in COMMANDS[command]]
    peak = record.with_name("peak")
    peak.write_text("0")
    bounds = [str(CPU_S), str(ADDRESSES_BYTES), str(peak)]
    child = subprocess.run(
        [sys.executable, "-c", BOUNDED, *bounds, *words],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    return child.returncode, child.stdout[-2000:].decode(errors="replace"), int(peak.read_text())


@pytest.mark.parametrize("command", COMMANDS)
def test_a_sound_record_is_read_within_the_bounds(sound: Path, command: str) -> None:
    status, printed, resident_kib = run(command, sound)
    assert status == 0, printed
    assert 0 < resident_kib < RESIDENT_KIB


@pytest.mark.parametrize("harm", HOSTILE)
def test_a_hostile_record_is_refused_or_survived_within_the_bounds(
    sound: Path, tmp_path: Path, harm: str
) -> None:
    record = tmp_path / "tent.sqlite3"
    shutil.copyfile(sound, record)
    HOSTILE[harm](record)
    for command in COMMANDS:
        status, printed, resident_kib = run(command, record)
        assert status in (0, 1), f"{command}: {printed}"  # below zero: ended by a bound
        assert "fault of lungwort's own" not in printed, f"{command}: {printed}"
        assert status == 0 or printed.startswith("lungwort: "), f"{command}: {printed}"
        assert resident_kib < RESIDENT_KIB, command


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("DROP TABLE meta", "its table meta is missing"),
        ("DROP INDEX events_by_time", "its index events_by_time is missing"),
        ("ALTER TABLE events ADD COLUMN more TEXT", "its table events is not as lungwort makes it"),
        (
            "ALTER TABLE configs ADD COLUMN long TEXT AS (printf('%.*c', 1000000000, 'x'))",
            "its table configs is not as lungwort makes it",
        ),
    ],
)
def test_a_record_whose_schema_is_not_its_numbers_is_refused(
    sound: Path, tmp_path: Path, statement: str, words: str
) -> None:
    record = tmp_path / "tent.sqlite3"
    shutil.copyfile(sound, record)
    with closing(sqlite3.connect(record, isolation_level=None)) as db:
        db.execute(statement)
    with pytest.raises(RecordError, match=f"{words}; it was changed by another program"):
        RecordReader(record)


def test_a_table_of_somebody_elses_beside_ours_does_no_harm(sound: Path, tmp_path: Path) -> None:
    record = tmp_path / "tent.sqlite3"
    shutil.copyfile(sound, record)
    with closing(sqlite3.connect(record, isolation_level=None)) as db:
        db.execute("CREATE TABLE notes (text)")
        db.execute("CREATE VIEW hottest AS SELECT max(tent_temperature_c) FROM readings")
    with RecordReader(record) as reader:
        assert reader.latest() is not None


def test_words_of_comments_in_a_schema_may_change() -> None:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as old:
        old.execute("CREATE TABLE t (a REAL, -- in the old words\n  b TEXT) STRICT")
        hold_schema(old, lambda new: new.execute("CREATE TABLE t (a REAL, b TEXT) STRICT") and None)
