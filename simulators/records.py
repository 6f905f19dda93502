"""Records that simulations write: marked as such, so that none ever replaces a real one."""

from __future__ import annotations

from pathlib import Path

from controller.errors import UserError
from controller.locks import claim, lock_path
from controller.record import InlineRecord, Record, RecordReader
from controller.record.status import SIMULATED_KEY


def make_way(path: Path) -> None:
    """Remove the record of an earlier simulation; anything else is left alone.

    Raises
    ------
    UserError
        There is a record that no simulation wrote, or something that is no record.
    AlreadyRunning
        A simulation is still writing it.
    """
    if not path.exists():
        return
    if lock_path(path).exists():
        claim(path).release()
    with RecordReader(path) as reader:
        if reader.state(SIMULATED_KEY) is None:
            raise UserError(
                f"{path} holds a record that no simulation wrote; name another file with --record"
            )
    for name in (path.name, f"{path.name}-wal", f"{path.name}-shm"):
        path.with_name(name).unlink(missing_ok=True)


def mark_simulated(record: Record, at_ms: int) -> None:
    """Note in a record that a simulation writes it."""
    record.save_state(SIMULATED_KEY, at_ms, True)


def simulated_record(path: Path, at_ms: int) -> InlineRecord:
    """Begin the record of a simulation: quickly rather than durably, and without log lines."""
    make_way(path)
    record = InlineRecord(path, durable=False, batch=5000, emit=lambda *line: None)
    mark_simulated(record, at_ms)
    return record
