"""Whatever a record holds, who reads it is refused or served within bounds, and told in words.

The bounds are the kernel's, setrlimit(2), on a child process: processor time, and address space,
which is more than the memory that is used.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import NamedTuple, NoReturn

import pytest
from hostile_records import (
    CONFIG,
    HOSTILE,
    IN_ITS_PLACE,
    REFUSED,
    ROOT,
    SOUND,
    at_latest,
    changed,
    plain_record,
)

from controller.__main__ import main
from controller.record import RecordError, RecordReader
from controller.record.guard import hold_schema

CPU_S = 4  # whole seconds; 2 s of reading at most, on a slow machine
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


# One interpreter imports what the commands need, by running each on a sound record, and forks for
# every command. The peak is of a child's own memory: what the kernel reports of one that was waited
# for counts the memory of the process that it was forked from.
BOUNDED = """\
import json, os, resource, sys
from controller.__main__ import main
cpu_s, addresses_bytes = int(sys.argv[1]), int(sys.argv[2])

def run(words, peak_path):
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
    resource.setrlimit(resource.RLIMIT_AS, (addresses_bytes, addresses_bytes))
    status = main(words)
    with open("/proc/self/status") as file:
        peak = next(line.split()[1] for line in file if line.startswith("VmHWM:"))
    with open(peak_path, "w") as file:
        file.write(peak)
    return status

def print_to(path):
    for stream in (1, 2):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), stream)

answers = os.fdopen(os.dup(1), "w")
print_to(os.devnull)
for words in json.loads(sys.argv[3]):
    main(words)
for line in sys.stdin:
    words, printed, peak = json.loads(line)
    child = os.fork()
    if not child:
        print_to(printed)
        sys.exit(run(words, peak))
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), file=answers, flush=True)
"""


class Run(NamedTuple):
    """A command's exit status, what it printed, its memory [KiB]."""

    status: int
    printed: str
    resident_kib: int


Bounded = Callable[[str, Path], Run]


def words_of(command: str, record: Path) -> list[str]:
    return [word.format(config=CONFIG, record=record) for word in COMMANDS[command]]


@pytest.fixture(scope="module")
def bounded(sound: Path) -> Iterator[Bounded]:
    """Runs a command on a record within the bounds."""
    first = json.dumps([words_of(command, sound) for command in COMMANDS])
    child = subprocess.Popen(
        [sys.executable, "-c", BOUNDED, str(CPU_S), str(ADDRESSES_BYTES), first],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip

    def run(command: str, record: Path) -> Run:
        printed, peak = record.with_name("printed"), record.with_name("peak")
        peak.write_text("0")
        job = [words_of(command, record), str(printed), str(peak)]
        assert child.stdin is not None and child.stdout is not None
        print(json.dumps(job), file=child.stdin, flush=True)
        status = int(child.stdout.readline())
        text = printed.read_bytes()[-2000:].decode(errors="replace")
        return Run(status, text, int(peak.read_text()))

    with child:
        yield run


@pytest.mark.parametrize("command", COMMANDS)
def test_a_sound_record_is_read_within_the_bounds(
    bounded: Bounded, sound: Path, command: str
) -> None:
    status, printed, resident_kib = bounded(command, sound)
    assert status == 0, printed
    assert 0 < resident_kib < RESIDENT_KIB


@pytest.mark.parametrize("harm", HOSTILE)
def test_a_hostile_record_is_refused_or_survived_within_the_bounds(
    bounded: Bounded, sound: Path, tmp_path: Path, harm: str
) -> None:
    record = tmp_path / "tent.sqlite3"
    shutil.copyfile(sound, record)
    HOSTILE[harm](record)
    for command in COMMANDS:
        status, printed, resident_kib = bounded(command, record)
        assert status in (0, 1), f"{command}: {printed}"  # below zero: ended by a bound
        assert "fault of lungwort's own" not in printed, f"{command}: {printed}"
        assert status == 0 or printed.startswith("lungwort: "), f"{command}: {printed}"
        assert resident_kib < RESIDENT_KIB, command


@pytest.mark.parametrize("harm", REFUSED)
def test_what_is_no_record_of_ours_is_refused_when_it_is_opened(
    sound: Path, tmp_path: Path, harm: str
) -> None:
    record = tmp_path / "tent.sqlite3"
    if harm not in IN_ITS_PLACE:
        shutil.copyfile(sound, record)
    change, words = REFUSED[harm]
    change(record)
    with pytest.raises(RecordError, match=words):
        RecordReader(record)


def test_a_schema_that_fills_sqlites_memory_is_refused(
    sound: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As twenty views of 7 MB do; the limit itself is the process's and can't be raised again."""

    def full(*_: object) -> NoReturn:
        raise MemoryError

    monkeypatch.setattr("controller.record.database.hold_schema", full)
    with pytest.raises(RecordError, match="its schema is far longer than lungwort's"):
        RecordReader(sound)


def test_long_names_and_many_configs_are_not_loaded_whole(sound: Path, tmp_path: Path) -> None:
    record = tmp_path / "tent.sqlite3"
    shutil.copyfile(sound, record)
    at_latest("(SELECT printf('%.*c', 7000000, 'x') AS name)")(record)
    fill = "INSERT INTO configs (at_ms, sha256, yaml) VALUES (1, 'x', printf('%.*c', 65000, '#'))"
    with RecordReader(record) as reader:
        newest = reader.latest()
        assert newest is not None
        assert max(len(sensor.sensor) for sensor in newest.sensors) == 65
    changed("BEGIN", *[fill] * 260, "COMMIT")(record)
    with RecordReader(record) as reader, pytest.raises(RecordError, match="texts far longer"):
        reader.configs()


def test_a_snapshot_that_sqlite_ended_by_itself_hides_no_error(sound: Path) -> None:
    with RecordReader(sound) as reader:
        snapshot = reader.snapshot()
        with pytest.raises(RecordError, match="out of memory"), snapshot:
            reader._db.execute("ROLLBACK")  # as SQLite does where memory runs out
            raise RecordError("out of memory")


@pytest.mark.parametrize("form", SOUND)
def test_a_record_of_another_form_is_read_and_backed_up(
    sound: Path, tmp_path: Path, form: str
) -> None:
    record = tmp_path / "tent.sqlite3"
    shutil.copyfile(sound, record)
    SOUND[form](record)
    assert main(["backup", str(CONFIG), str(tmp_path / "copy"), "--record", str(record)]) == 0
    with RecordReader(tmp_path / "copy") as reader, RecordReader(sound) as before:
        assert list(reader.readings()) == list(before.readings())
        assert all(event.data for event in reader.events())


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
