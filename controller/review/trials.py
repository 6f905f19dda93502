"""What changes of the config would have done: each replayed at most once.

On several cores the first replay runs in a process of its own while the record is still being
read, and that process stays to do the others: a review that advises takes hardly longer than one
that does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Self

from controller.review.replays import (
    Backdrop,
    Days,
    Replayed,
    backdrop_of,
    begin,
    cores,
    read_days,
    replay,
    replay_each,
)

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from controller.review.changes import Change
    from controller.review.source import Source
    from controller.settings import Settings


# Longer periods take longer than a reader waits for.
LONGEST_DAYS = 14


def begin_trials(source: Source) -> Trials | None:
    """Begin the replays that advice on the period may ask for, if it may ask for any."""
    if len(source.period.days) > LONGEST_DAYS:
        return None
    days = read_days(source)
    return Trials(days) if len(days.air) > 1 else None


class Trials:
    """The replays of one review; a context.

    Parameters
    ----------
    days : Days
        What is lived through; there has to be air.
    """

    def __init__(self, days: Days) -> None:
        self._days = days
        self._known: dict[Change, Replayed] = {}
        self._before: Replayed | None = None
        self._backdrop: Backdrop | None = None
        self._helper = begin(self._serve) if cores() > 1 else None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let the other process go, whatever it does."""
        if self._helper is not None:
            self._helper.end()
            self._helper = None

    @property
    def settings(self) -> Settings:
        """Those in force: what is changed and replayed."""
        return self._days.settings

    @property
    def count(self) -> int:
        """How many changes were replayed."""
        return len(self._known)

    @property
    def before(self) -> Replayed:
        """The config that was in force."""
        return self._live_through()

    def of(self, asked: Sequence[Change]) -> dict[Change, Replayed]:
        """The config with each change made."""
        self._live_through()  # it is what the other process says first
        new = [change for change in asked if change not in self._known]
        if new:
            self._known.update(zip(new, self._replayed(new), strict=True))
        return {change: self._known[change] for change in asked}

    def _live_through(self) -> Replayed:
        if self._before is None:
            self._before = self._heard() or replay(self._days.settings, self._own_backdrop())
        return self._before

    def _replayed(self, changes: Sequence[Change]) -> list[Replayed]:
        if self._helper is not None:
            self._helper.ask(changes)
        found = self._heard()
        return self._work_out(changes) if found is None else found

    def _heard(self) -> Any:
        """What the other process says next; None if there is none, or no longer."""
        found = None if self._helper is None else self._helper.answer()
        if found is None:
            self.close()
        return found

    def _serve(self, pipe: Connection) -> None:
        """Be the other process."""
        pipe.send(replay(self._days.settings, self._own_backdrop()))
        while True:
            pipe.send(self._work_out(pipe.recv()))  # it ends when there is nobody to hear

    def _work_out(self, changes: Sequence[Change]) -> list[Replayed]:
        configs = [change.apply(self._days.settings) for change in changes]
        return replay_each(configs, self._own_backdrop())

    def _own_backdrop(self) -> Backdrop:
        if self._backdrop is None:
            self._backdrop = backdrop_of(self._days)
        return self._backdrop
