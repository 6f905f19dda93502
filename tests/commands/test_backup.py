"""`lungwort backup`: one whole, checked copy, whatever goes on meanwhile."""

from __future__ import annotations

import os
import sqlite3
import stat
import threading
from contextlib import closing
from pathlib import Path

import pytest
from record_commands import NOW_MS, call, write_config, write_hot_afternoon

from controller.commands import backup
from controller.errors import UserError
from controller.record import RecordReader, RecordWriter, backup_record


def test_the_copy_holds_the_same_and_is_one_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    target = tmp_path / "copies" / "tent.backup"
    target.parent.mkdir()
    assert call(backup, config, target) == 0
    size = f"{target.stat().st_size / 1e3:.0f} kB"
    assert capsys.readouterr().out.startswith(f"{target}: {size}, checked")
    assert [p.name for p in target.parent.iterdir()] == ["tent.backup"]
    with RecordReader(record) as original, RecordReader(target) as copy:
        assert copy.latest() == original.latest()
        assert copy.state("now") == original.state("now")
    # Who may read a record knows when nobody is at home.
    assert stat.S_IMODE(target.stat().st_mode) & 0o007 == 0


def test_into_a_directory_it_keeps_its_name(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    (tmp_path / "copies").mkdir()
    assert call(backup, config, tmp_path / "copies") == 0
    assert (tmp_path / "copies" / "tent.sqlite3").exists()


def test_a_directory_that_is_not_there_does_not_become_a_file(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    with pytest.raises(UserError, match="there is no directory"):
        call(backup, config, f"{tmp_path}/stick/")
    assert not (tmp_path / "stick").exists()


def test_a_copy_taken_in_the_middle_of_writing_is_one_consistent_moment(tmp_path: Path) -> None:
    _, record = write_config(tmp_path)
    writer = RecordWriter(record, durable=False)
    stop = threading.Event()
    errors: list[Exception] = []

    def write() -> None:
        n = 0
        try:
            while not stop.is_set():
                with writer.together():  # pairs: a copy must hold both or none
                    writer.event(NOW_MS + n, "test.left", n=n)
                    writer.event(NOW_MS + n, "test.right", n=n)
                n += 1
        except Exception as error:
            errors.append(error)

    thread = threading.Thread(target=write)
    thread.start()
    counts = []
    try:
        for number in range(8):
            target = tmp_path / f"copy-{number}.sqlite3"
            backup_record(record, target)
            with RecordReader(target) as copy:
                left = [e.data["n"] for e in copy.events(names=["test.left"])]
                right = [e.data["n"] for e in copy.events(names=["test.right"])]
                assert next(copy.sql("PRAGMA integrity_check")) == ("ok",)
            assert left == right == list(range(len(left)))
            counts.append(len(left))
    finally:
        stop.set()
        thread.join(60.0)
        assert not thread.is_alive(), "the writer never ended"
        writer.close()
    assert errors == []
    assert counts == sorted(counts)


def test_a_restored_backup_goes_on_where_it_was(tmp_path: Path) -> None:
    _, record = write_config(tmp_path)
    write_hot_afternoon(record)
    target = tmp_path / "copy.sqlite3"
    backup_record(record, target)
    record.write_bytes(target.read_bytes())
    with RecordWriter(record) as writer:
        writer.event(NOW_MS, "daemon.started")
        assert writer.load_state("now") is not None


def test_an_earlier_backup_is_replaced_and_a_failed_one_leaves_it(tmp_path: Path) -> None:
    _, record = write_config(tmp_path)
    write_hot_afternoon(record)
    target = tmp_path / "copy.sqlite3"
    target.write_bytes(b"the old one")
    backup_record(record, target)
    with RecordReader(target) as copy:
        assert copy.latest() is not None
    good = target.read_bytes()
    with RecordWriter(record) as writer, writer.together():
        for n in range(2000):
            writer.event(NOW_MS + n, "test.filler", padding="x" * 50)
    content = bytearray(record.read_bytes())
    content[20_000:60_000] = b"\xa5" * 40_000
    record.write_bytes(content)
    with pytest.raises(UserError, match="damaged"):
        backup_record(record, target)
    assert target.read_bytes() == good
    assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.sqlite3"]


def test_a_backup_leaves_links_and_devices_what_they_are(tmp_path: Path) -> None:
    _, record = write_config(tmp_path)
    write_hot_afternoon(record)
    link, target, pipe = tmp_path / "newest", tmp_path / "copy.sqlite3", tmp_path / "pipe"
    link.symlink_to(target)
    backup_record(record, link)
    assert link.is_symlink() and target.read_bytes()[:6] == b"SQLite"
    os.mkfifo(pipe)
    with pytest.raises(UserError, match="no file that a copy could be"):
        backup_record(record, pipe)
    assert pipe.is_fifo()


def test_no_record_no_backup(tmp_path: Path) -> None:
    config, _ = write_config(tmp_path)
    with pytest.raises(UserError, match="no record yet"):
        call(backup, config, tmp_path / "copy.sqlite3")
    assert not (tmp_path / "copy.sqlite3").exists()


def test_the_record_is_not_copied_onto_itself(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    for target in (record, tmp_path):
        with pytest.raises(UserError, match="is the record itself"):
            call(backup, config, target)
    with closing(sqlite3.connect(record)) as db:
        assert db.execute("SELECT count(*) FROM readings").fetchone() == (1,)


def test_a_place_that_cannot_be_written_is_reported(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    with pytest.raises(UserError, match=r"cannot write the backup .*No such file or directory"):
        call(backup, config, tmp_path / "missing" / "copy.sqlite3")
