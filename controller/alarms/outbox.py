"""Sends messages: a thread with a bounded queue, retries and a limit on the rate.

The tick hands a message over and goes on. Nothing here can hold it up, and nothing here is needed
for the air: a network that is down costs a message its time, and at worst the oldest messages.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable
from typing import Protocol

from controller.alarms.notifications import Message
from controller.clock import Clock

# Waits between tries; the last one repeats.
RETRY_AFTER_S = (30.0, 120.0, 600.0, 3600.0)
GIVE_UP_AFTER_S = 86_400.0
MOST_WAITING = 50
_HOUR_S = 3600.0


class Channel(Protocol):
    """One way to reach a person; may block, and raises on any failure."""

    @property
    def name(self) -> str:
        """Name for the log; holds no secret."""

    def send(self, message: Message) -> None:
        """Deliver a message."""


# Called for a message that could not be delivered: (channel, why).
Report = Callable[[str, str], None]


class Outbox:
    """Delivers messages over one channel, in order.

    Parameters
    ----------
    channel : Channel
        Where to.
    clock : Clock
        Paces retries and the rate.
    report : callable
        Told, from the outbox's thread, when the first try at a message fails.
    most_per_hour : int
        More than these are gathered into one.
    """

    def __init__(
        self,
        channel: Channel,
        clock: Clock,
        report: Report,
        *,
        most_per_hour: int = 12,
    ) -> None:
        self._channel = channel
        self._clock = clock
        self._report = report
        self._most_per_hour = most_per_hour
        self._waiting: deque[tuple[float, Message]] = deque()
        self._dropped = 0
        self._sent_s: deque[float] = deque()
        self._lock = threading.Lock()
        self._wake = threading.Event()
        self._is_closing = False
        self._thread = threading.Thread(target=self._run, name="outbox", daemon=True)
        self._thread.start()

    def put(self, message: Message) -> None:
        """Queue a message; never blocks."""
        with self._lock:
            self._waiting.append((self._clock.monotonic_s(), message))
            while len(self._waiting) > MOST_WAITING:
                self._waiting.popleft()
                self._dropped += 1
        self._wake.set()

    def close(self) -> None:
        """Stop; undelivered messages are lost, their alarms are in the event log."""
        self._is_closing = True
        self._wake.set()
        self._thread.join(timeout=0.5)

    def _run(self) -> None:
        tries = 0
        while not self._is_closing:
            batch = self._next()
            if not batch:
                self._pause(self._until_allowed_s() if self._waiting else _HOUR_S)
                continue
            try:
                dropped = self._dropped
                self._channel.send(_gathered([m for _, m in batch], dropped))
            except Exception as error:  # a channel may raise anything
                tries += 1
                self._failed(tries, f"{type(error).__name__}: {error}")
                continue
            tries = 0
            self._delivered(batch, dropped)

    def _next(self) -> list[tuple[float, Message]]:
        """One message, or all that wait when the hour's share is nearly used up."""
        with self._lock:
            if not self._waiting or self._until_allowed_s() > 0.0:
                return []
            if len(self._sent_s) >= self._most_per_hour - 1:
                return list(self._waiting)
            return [self._waiting[0]]

    def _until_allowed_s(self) -> float:
        now_s = self._clock.monotonic_s()
        while self._sent_s and now_s - self._sent_s[0] >= _HOUR_S:
            self._sent_s.popleft()
        if len(self._sent_s) < self._most_per_hour:
            return 0.0
        return self._sent_s[0] + _HOUR_S - now_s

    def _delivered(self, batch: list[tuple[float, Message]], dropped: int) -> None:
        # While it was on its way more may have come, and pushed out what is now delivered.
        done = {id(entry) for entry in batch}
        pushed_out = len(batch)
        with self._lock:
            while self._waiting and id(self._waiting[0]) in done:
                self._waiting.popleft()
                pushed_out -= 1
            self._dropped -= dropped + pushed_out
            self._sent_s.append(self._clock.monotonic_s())

    def _failed(self, tries: int, why: str) -> None:
        if tries == 1:
            self._report(self._channel.name, why)
        now_s = self._clock.monotonic_s()
        with self._lock:
            while self._waiting and now_s - self._waiting[0][0] > GIVE_UP_AFTER_S:
                self._waiting.popleft()
                self._dropped += 1
        self._pause(RETRY_AFTER_S[min(tries, len(RETRY_AFTER_S)) - 1])

    def _pause(self, seconds: float) -> None:
        """Wait for a time, or until another message comes, which may find the network back."""
        with contextlib.suppress(Exception):
            self._clock.wait(seconds, self._wake)
        self._wake.clear()


def _gathered(messages: list[Message], dropped: int) -> Message:
    """Make one message of several."""
    if len(messages) == 1 and not dropped:
        return messages[0]
    worst = max(messages, key=lambda m: m.priority.rank)
    lines = [f"{m.title}. {m.text}".strip() for m in messages]
    if dropped:
        lines.append(f"{dropped} older messages were dropped; see 'lungwort alarms'.")
    return Message(
        worst.priority,
        worst.title if len(messages) == 1 else f"{worst.title} (and {len(messages) - 1} more)",
        "\n".join(lines),
        {"messages": [m.data for m in messages], "dropped": dropped},
    )
