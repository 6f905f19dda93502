"""The record of a running daemon: ticks put rows into a queue, a thread writes them."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from controller.clock import Clock, SystemClock
from controller.log import log_event
from controller.record.database import RecordError
from controller.record.faults import (
    DamageFoundError,
    damage_in,
    ended_unclean,
    inodes_of,
    is_damage,
    is_of_the_disk,
    set_aside,
    words_of,
)
from controller.record.in_use import is_unread
from controller.record.items import (
    ConfigItem,
    EventItem,
    Item,
    LearningItem,
    PruneItem,
    ReadingItem,
    StateItem,
)
from controller.record.recorder import PRUNE_AT_MOST_MS, Emit
from controller.record.rows import ReadingRow
from controller.record.writer import RecordWriter, backup_record

BACKOFF_S = (1.0, 2.0, 5.0, 10.0, 30.0, 60.0)
# What is held while nothing can be written: a week of readings, a few MB.
KEEP_ITEMS = 10_000
# A commit takes milliseconds. When something waits for this long, the disk hangs in a call.
HANGS_AFTER_S = 60.0


class BackgroundRecord:
    """A record written by a thread of its own; no call but `backup`, `flush`, `close` waits.

    Events are written at once, and all that waits with them; readings and states alone wait for
    `commit_every_s`, since each commit writes whole pages several times over, which a memory card
    feels. So much of readings a power cut may take, and no event.

    When the record can't be written (disk full, read-only, locked, gone), it is tried again and
    again, ever more slowly; the newest `KEEP_ITEMS` events and readings are held in memory, and
    log lines are written without waiting for the disk. A file found damaged, by a query or by a
    check (after a power cut, or once a reader came upon it), is set aside as
    ``NAME.corrupt-TIME`` and a new one begun. ``record.failed`` and ``record.recovered`` are
    events themselves; `trouble` says why nothing can be written.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    clock : Clock
        For the instants of the record's own events and for noticing a disk that hangs.
    emit : callable
        Takes an event's log line, in the writing thread.
    backoff_s : sequence of float
        Waits between attempts [s]; the last one repeats.
    commit_every_s : float
        How long readings may wait to be written [s].
    keep_items : int
        How many events and readings are held.
    open_writer : callable
        Opens the file: for tests that break the disk.

    Raises
    ------
    RecordError
        At once, if `path` is no record or a newer version's, which a person has to resolve.
    """

    def __init__(
        self,
        path: Path,
        *,
        clock: Clock | None = None,
        emit: Emit = log_event,
        backoff_s: Sequence[float] = BACKOFF_S,
        commit_every_s: float = 0.0,
        keep_items: int = KEEP_ITEMS,
        open_writer: Callable[[Path], RecordWriter] = RecordWriter,
    ) -> None:
        self._path = path
        self._clock: Clock = SystemClock() if clock is None else clock
        self._emit = emit
        self._backoff_s = backoff_s
        self._commit_every_s = commit_every_s
        self._keep_items = keep_items
        self._open_writer = open_writer
        # Reentrant, so that `together` can hold it: the writer then sees all of it or nothing.
        self._changed = threading.Condition(threading.RLock())
        self._waiting: deque[Item] = deque()
        self._due_s: float | None = None  # when what waits is to be written
        self._asked_to_commit: list[Callable[[], None]] = []
        self._states_waiting: dict[str, StateItem] = {}
        self._prune_waiting: PruneItem | None = None
        self._is_writing = False
        self._is_closing = False
        self._retry_now = False
        self._lost = 0
        self._trouble: str | None = None
        self._damage: str | None = None
        # Used by the writing thread alone from here on.
        self._writer: RecordWriter | None = None
        self._inodes: tuple[object, ...] | None = None
        self._config: ConfigItem | None = None
        self._states: dict[str, StateItem] = {}
        was_cut_off = ended_unclean(path)
        self._open_first()
        self._check_thread: threading.Thread | None = None
        if was_cut_off and self._writer is not None:
            self.check()
        self._thread = threading.Thread(target=self._run, name="record", daemon=True)
        self._thread.start()

    # The tick's side.

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Write what is recorded inside in one transaction."""
        with self._changed:
            yield

    def event(self, at_ms: int, name: str, level: str = "info", /, **data: object) -> None:
        """Record an event; its log line follows once it is durable."""
        self._put(EventItem(at_ms, name, level, data))

    def reading(self, row: ReadingRow) -> None:
        """Record one interval."""
        self._put(ReadingItem(row))

    def config(self, at_ms: int, yaml: str, sha256: str) -> None:
        """Record the config that is in force from now on."""
        self._put(ConfigItem(at_ms, yaml, sha256))

    def learning(self, at_ms: int, result: dict[str, object]) -> None:
        """Record what was learned of the tent."""
        self._put(LearningItem(at_ms, result))

    def save_state(self, key: str, at_ms: int, value: object) -> None:
        """Keep `value` under `key`."""
        item = StateItem(key, at_ms, value)
        with self._changed:
            self._states_waiting[key] = self._states[key] = item
            self._wake(self._commit_every_s)

    def load_state(self, key: str) -> object | None:
        """What was last saved under `key`."""
        with self._changed:
            item = self._states.get(key)
        return None if item is None else item.value

    def prune(self, at_ms: int, before_ms: int) -> None:
        """Delete what is older than `before_ms`."""
        with self._changed:
            self._prune_waiting = PruneItem(at_ms, before_ms)
            self._wake()

    def _put(self, item: Item) -> None:
        with self._changed:
            self._waiting.append(item)
            self._bound()
            self._wake(self._commit_every_s if isinstance(item, ReadingItem) else 0.0)

    def _bound(self) -> None:
        while len(self._waiting) > self._keep_items:
            if not isinstance(self._waiting.popleft(), ConfigItem):
                self._lost += 1

    def commit(self, done: Callable[[], None]) -> None:
        """Write at once what waits, and call `done` in the writing thread afterwards."""
        with self._changed:
            self._asked_to_commit.append(done)
            self._wake()

    def _wake(self, within_s: float = 0.0) -> None:
        due_s = self._clock.monotonic_s() + within_s
        if self._due_s is None or due_s < self._due_s:
            self._due_s = due_s
        self._changed.notify_all()

    def _is_due(self) -> bool:
        due_s = self._due_s
        if self._is_idle() or due_s is None:
            return False
        return self._retry_now or self._clock.monotonic_s() >= due_s

    def _until_due_s(self) -> float | None:
        """How long the writing thread may sleep [s]; None: until it is woken."""
        if self._due_s is None:
            return None
        return max(0.01, self._due_s - self._clock.monotonic_s())

    @property
    def trouble(self) -> str | None:
        """Why nothing can be kept at the moment, in words; None while all is well."""
        due_s = self._due_s
        if self._trouble is None and due_s is not None:
            waited_s = self._clock.monotonic_s() - due_s
            if waited_s > HANGS_AFTER_S:
                return f"the disk has not answered for {waited_s:.0f} s"
        return self._trouble

    # What may wait.

    def backup(self, target: Path) -> int:
        """Write a consistent copy, in the caller's thread."""
        self.flush()
        return backup_record(self._path, target)

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Wait until all is kept; tries at once even if the next attempt is not yet due."""
        with self._changed:
            if not self._is_idle():
                self._retry_now = True
                self._changed.notify_all()
                self._changed.wait_for(lambda: self._is_idle() or self._has_given_up(), timeout_s)
            return self._is_idle()

    def _has_given_up(self) -> bool:
        """Whether an attempt begun after `_retry_now` was set has failed."""
        return self._trouble is not None and not self._retry_now and not self._is_writing

    def check(self) -> None:
        """Look through all of the file, in a thread that only reads.

        What its own pages in memory hide from the writer, a reader comes upon.
        """
        if self._check_thread is None or not self._check_thread.is_alive():
            self._check_thread = threading.Thread(target=self._check, daemon=True)
            self._check_thread.start()

    def wait_for_check(self, timeout_s: float = 60.0) -> None:
        """Wait until the check has ended, if there is one."""
        if self._check_thread is not None:
            self._check_thread.join(timeout_s)

    def close(self, timeout_s: float = 1.5) -> bool:
        """Flush, end the thread and close the file; False if something was not written."""
        with self._changed:
            self._is_closing = True
            self._changed.notify_all()
        self._thread.join(timeout_s)
        return not self._thread.is_alive() and self._is_idle()

    def _is_idle(self) -> bool:
        return not (
            self._waiting
            or self._states_waiting
            or self._prune_waiting
            or self._damage
            or self._asked_to_commit
            or self._is_writing
        )

    # The writing thread's side.

    def _open_first(self) -> None:
        try:
            self._open()
        except RecordError:
            raise
        except Exception as error:  # the control must not wait for a faulty record
            self._failed(error)

    def _open(self) -> RecordWriter:
        if self._writer is not None and self._inodes != inodes_of(self._path):
            with is_unread(self._path) as may_drop:
                if may_drop:
                    self._drop_writer()  # a file was moved or deleted: writes would be lost
        if self._writer is None:
            writer = self._open_writer(self._path)
            try:
                if self._config is not None:
                    self._config.write(writer)
                saved = writer.load_states()
                with self._changed:
                    for row in saved:
                        self._states.setdefault(row.key, StateItem(row.key, row.at_ms, row.value))
                    known = {row.key for row in saved}
                    again = [item for item in self._states.values() if item.key not in known]
                for item in again:  # a record begun anew
                    item.write(writer)
            except BaseException:
                _close_quietly(writer)
                raise
            self._writer = writer
            self._inodes = inodes_of(self._path)
        return self._writer

    def _check(self) -> None:
        damage = damage_in(self._path)
        if damage is not None:
            with self._changed:
                self._damage = damage
                self._wake()

    def _run(self) -> None:
        failures = 0
        while True:
            with self._changed:
                if failures and not self._retry_now and not self._is_closing:
                    wait_s = self._backoff_s[min(failures, len(self._backoff_s)) - 1]
                    self._changed.wait_for(lambda: self._retry_now or self._is_closing, wait_s)
                while not (self._is_closing or self._is_due()):
                    self._changed.wait(self._until_due_s())
                if self._is_idle():
                    break
                self._retry_now = False
                batch, self._waiting = list(self._waiting), deque()
                states, self._states_waiting = self._states_waiting, {}
                prune, self._prune_waiting = self._prune_waiting, None
                damage, self._damage = self._damage, None
                asked, self._asked_to_commit = self._asked_to_commit, []
                self._is_writing = True
            try:
                if damage is not None:
                    raise DamageFoundError(damage)
                self._write(batch, list(states.values()))
                self._log(batch)
                batch, states = [], {}  # kept, even if the pruning fails
                if prune is not None:
                    self._prune(prune)
            except Exception as error:  # the thread goes on after any error
                failures += 1
                self._put_back(batch, states, prune)
                self._log(batch)
                self._failed(error)
            else:
                failures = 0
                self._recovered()
            with self._changed:
                for done in asked:
                    done()
                # Not before the record's own events are handed over: until then nothing is kept.
                self._is_writing = False
                if not failures:
                    self._due_s = None
                    if not self._is_idle():
                        self._wake(self._commit_every_s if self._only_readings_wait() else 0.0)
                self._changed.notify_all()
                if failures and self._is_closing and not self._retry_now:
                    break
        self._drop_writer()

    def _write(self, batch: list[Item], states: list[StateItem]) -> None:
        writer = self._open()
        try:
            with writer.together():
                for item in (*batch, *states):
                    item.write(writer)
        except Exception as error:
            if is_of_the_disk(error):
                raise
            # One of them can't be written at all: it must not hold up the others for ever.
            self._write_singly(writer, [*batch, *states])
        for item in batch:
            if isinstance(item, ConfigItem):
                self._config = item

    def _write_singly(self, writer: RecordWriter, items: list[Item | StateItem]) -> None:
        with writer.together():
            for item in items:
                try:
                    item.write(writer)
                except Exception as error:
                    if is_of_the_disk(error):
                        raise
                    what = {"error": repr(error), "what": repr(item)[:500]}
                    self._emit_line(self._now_ms(), "record.refused", "error", what)

    def _prune(self, item: PruneItem) -> None:
        gone = self._open().prune(item.before_ms, at_most_ms=PRUNE_AT_MOST_MS)
        if any(gone.values()):
            self.event(item.at_ms, "record.pruned", "info", before_ms=item.before_ms, **gone)

    def _only_readings_wait(self) -> bool:
        return not (self._prune_waiting or self._damage or self._asked_to_commit) and all(
            isinstance(item, ReadingItem) for item in self._waiting
        )

    def _put_back(
        self, batch: list[Item], states: dict[str, StateItem], prune: PruneItem | None
    ) -> None:
        with self._changed:
            self._waiting.extendleft(reversed(batch))
            self._bound()
            self._states_waiting = states | self._states_waiting
            self._prune_waiting = self._prune_waiting or prune

    def _log(self, batch: list[Item]) -> None:
        for item in batch:
            if isinstance(item, EventItem) and not item.is_logged:
                item.is_logged = True
                self._emit_line(item.at_ms, item.name, item.level, item.data)

    def _emit_line(self, at_ms: int, name: str, level: str, data: Mapping[str, object]) -> None:
        with contextlib.suppress(Exception):  # a log that fails must not stop the record too
            self._emit(at_ms, name, level, dict(data))

    def _report(self, name: str, level: str, **data: object) -> None:
        """Log an event about the record itself at once, and queue it for the record."""
        item = EventItem(self._now_ms(), name, level, data)
        self._log([item])
        self._put(item)

    def _failed(self, error: Exception) -> None:
        self._drop_writer()
        is_news = self._trouble is None
        self._trouble = words_of(error)
        if is_news:
            self._report("record.failed", "error", error=self._trouble, path=str(self._path))
        if not is_damage(error):
            return
        aside = set_aside(self._path, self._now_ms())
        if aside is not None:
            self._report("record.set_aside", "error", file=aside.name)
        with self._changed:
            if aside is not None:
                self._retry_now = True  # a new one can be made at once
            elif isinstance(error, DamageFoundError):
                # Writing may well go on, unlike for a card that is read-only.
                self._damage = str(error)

    def _recovered(self) -> None:
        if self._trouble is None:
            return
        with self._changed:
            lost, self._lost = self._lost, 0
            self._trouble = None
        self.event(self._now_ms(), "record.recovered", "warning" if lost else "info", lost=lost)

    def _drop_writer(self) -> None:
        if self._writer is not None:
            _close_quietly(self._writer)
        self._writer = self._inodes = None

    def _now_ms(self) -> int:
        return round(self._clock.wall_s() * 1000)


def _close_quietly(writer: RecordWriter) -> None:
    with contextlib.suppress(sqlite3.Error, OSError):
        writer.close()
