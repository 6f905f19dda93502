"""How the rest of the program records: one interface, and its two forms without a thread."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Protocol

from controller.log import log_event
from controller.record.rows import ConfigRow, EventRow, LearningRow, ReadingRow
from controller.record.writer import RecordWriter

# Writes an event's line to the operating log: (at_ms, name, level, data).
Emit = Callable[[int, str, str, dict[str, object]], None]

# A clock gone wild must not cost the whole record: so much of its oldest part goes at a time.
PRUNE_AT_MOST_MS = 31 * 86_400_000


class Record(Protocol):
    """What the ticks record to. Only `close`, `flush` and `backup` may take time."""

    def together(self) -> AbstractContextManager[None]:
        """Write what is recorded inside in one transaction."""

    def event(self, at_ms: int, name: str, level: str = "info", /, **data: object) -> None:
        """Record an event, and write its line to the operating log once it is durable.

        Parameters
        ----------
        at_ms : int
            When [Unix ms].
        name : str
            Dotted, past tense: ``fan.changed``.
        level : str
            ``info``, ``warning`` or ``error``.
        **data
            What JSON can hold, units in the keys; not to be changed afterwards.
        """

    def reading(self, row: ReadingRow) -> None:
        """Record one interval with its sensors, under the config last recorded."""

    def save_state(self, key: str, at_ms: int, value: object) -> None:
        """Keep `value` (what JSON can hold, not to be changed afterwards) under `key`."""

    def load_state(self, key: str) -> object | None:
        """What was last saved under `key`, by this process or one before; else None."""

    def config(self, at_ms: int, yaml: str, sha256: str) -> None:
        """Record the config that is in force from now on."""

    def learning(self, at_ms: int, result: dict[str, object]) -> None:
        """Record what was learned of the tent, or why nothing could be; see `RecordWriter`."""

    def prune(self, at_ms: int, before_ms: int) -> None:
        """Delete what is older than `before_ms`, and record how much that was.

        One call deletes no more than the oldest month of the record: called every day, it keeps
        up with any setting, and a clock that is years ahead for a day does little harm.
        """

    def backup(self, target: Path) -> int:
        """Write a consistent copy; returns its size [bytes]. Raises UserError."""

    def commit(self, done: Callable[[], None]) -> None:
        """Write at once what may wait, and call `done` afterwards, maybe from another thread."""

    def check(self) -> None:
        """Look through the whole file, aside, since a reader found it damaged."""

    @property
    def trouble(self) -> str | None:
        """Why nothing can be written at the moment, in words; None while it can."""

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Wait until all is written; False if it isn't within `timeout_s`."""

    def close(self, timeout_s: float = 1.5) -> bool:
        """Flush and close the file; False if something could not be written."""


class InlineRecord:
    """A record written by the caller's own thread: for simulations, in step with their clock.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    durable : bool
        Whether each commit waits for the disk.
    batch : int
        Calls in one transaction: 1 lets readers see each at once, more is faster.
    emit : callable
        Takes an event's log line.

    Raises
    ------
    RecordError, sqlite3.Error, OSError
        If the file can't be used; unlike the daemon's form, also from each call.
    """

    def __init__(
        self, path: Path, *, durable: bool = False, batch: int = 1, emit: Emit = log_event
    ) -> None:
        self._writer = RecordWriter(path, durable=durable)
        self._batch = batch
        self._emit = emit
        self._open: contextlib.ExitStack | None = None
        self._calls = 0
        self._depth = 0
        self._lines: list[tuple[int, str, str, dict[str, object]]] = []

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """One transaction."""
        if self._open is None:
            self._open = contextlib.ExitStack()
            self._open.enter_context(self._writer.together())
        self._depth += 1
        try:
            yield
        except BaseException as error:
            self._undo(error)
            raise
        finally:
            self._depth -= 1
        self._calls += 1
        if not self._depth and self._calls >= self._batch:
            self._commit()

    def _undo(self, error: BaseException) -> None:
        opened, self._open, self._calls, self._lines = self._open, None, 0, []
        if opened is not None:  # not yet undone by an inner call
            with contextlib.suppress(type(error)):
                opened.__exit__(type(error), error, error.__traceback__)

    def _commit(self) -> None:
        opened, self._open, self._calls = self._open, None, 0
        lines, self._lines = self._lines, []
        if opened is not None:
            opened.close()
        for line in lines:
            self._emit(*line)

    def event(self, at_ms: int, name: str, level: str = "info", /, **data: object) -> None:
        """Record and log an event."""
        with self.together():
            self._writer.event(at_ms, name, level, **data)
            self._lines.append((at_ms, name, level, data))

    def reading(self, row: ReadingRow) -> None:
        """Record one interval."""
        with self.together():
            self._writer.reading(row)

    def save_state(self, key: str, at_ms: int, value: object) -> None:
        """Keep `value` under `key`."""
        with self.together():
            self._writer.save_state(key, at_ms, value)

    def load_state(self, key: str) -> object | None:
        """What was last saved under `key`."""
        return self._writer.load_state(key)

    def config(self, at_ms: int, yaml: str, sha256: str) -> None:
        """Say which config is in force."""
        with self.together():
            self._writer.config(at_ms, yaml, sha256)

    def learning(self, at_ms: int, result: dict[str, object]) -> None:
        """Record what was learned of the tent."""
        with self.together():
            self._writer.learning(at_ms, result)

    def prune(self, at_ms: int, before_ms: int) -> None:
        """Delete what is old."""
        with self.together():
            gone = self._writer.prune(before_ms, at_most_ms=PRUNE_AT_MOST_MS)
            if any(gone.values()):
                self.event(at_ms, "record.pruned", before_ms=before_ms, **gone)

    def backup(self, target: Path) -> int:
        """Write a consistent copy."""
        self._commit()
        return self._writer.backup(target)

    def commit(self, done: Callable[[], None]) -> None:
        """Commit what is open."""
        self._commit()
        done()

    def check(self) -> None:
        """Nobody shares it."""

    @property
    def trouble(self) -> str | None:
        """Always None: this form raises instead."""
        return None

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Commit what is open."""
        self._commit()
        return True

    def close(self, timeout_s: float = 1.5) -> bool:
        """Commit and close the file."""
        self._commit()
        self._writer.close()
        return True


class MemoryRecord:
    """A record in memory: for rehearsals that need no file, and for tests.

    Attributes
    ----------
    events, readings, configs, learnings, states
        What was recorded, in order.
    """

    def __init__(self, emit: Emit | None = None) -> None:
        self.events: list[EventRow] = []
        self.readings: list[ReadingRow] = []
        self.configs: list[ConfigRow] = []
        self.learnings: list[LearningRow] = []
        self.states: dict[str, object] = {}
        self._emit = emit

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Nothing to do here."""
        yield

    def event(self, at_ms: int, name: str, level: str = "info", /, **data: object) -> None:
        """Record an event."""
        self.events.append(EventRow(len(self.events) + 1, at_ms, name, level, data))
        if self._emit is not None:
            self._emit(at_ms, name, level, data)

    def reading(self, row: ReadingRow) -> None:
        """Record one interval."""
        self.readings.append(row)

    def save_state(self, key: str, at_ms: int, value: object) -> None:
        """Keep `value` under `key`."""
        self.states[key] = value

    def load_state(self, key: str) -> object | None:
        """What was last saved under `key`."""
        return self.states.get(key)

    def config(self, at_ms: int, yaml: str, sha256: str) -> None:
        """Say which config is in force."""
        self.configs.append(ConfigRow(len(self.configs) + 1, at_ms, sha256, yaml))

    def learning(self, at_ms: int, result: dict[str, object]) -> None:
        """Record what was learned of the tent."""
        config_id = self.configs[-1].id if self.configs else None
        self.learnings.append(LearningRow(at_ms, config_id, result))

    def prune(self, at_ms: int, before_ms: int) -> None:
        """Delete what is old."""
        self.events = [event for event in self.events if event.at_ms >= before_ms]
        self.readings = [row for row in self.readings if row.at_ms >= before_ms]

    def backup(self, target: Path) -> int:
        """There is nothing to copy."""
        return 0

    def commit(self, done: Callable[[], None]) -> None:
        """There is nothing to write."""
        done()

    def check(self) -> None:
        """Nobody shares it."""

    @property
    def trouble(self) -> str | None:
        """Always None."""
        return None

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Nothing to wait for."""
        return True

    def close(self, timeout_s: float = 1.5) -> bool:
        """Nothing to close."""
        return True
