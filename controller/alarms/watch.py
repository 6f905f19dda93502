"""The alarms of a running daemon: updated each tick, saved, and sent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from controller.alarms.channels import CommandChannel, UrlsChannel
from controller.alarms.conditions import conditions
from controller.alarms.kinds import Priority
from controller.alarms.notifications import Message, event_data, message
from controller.alarms.outbox import Channel, Outbox, Report
from controller.alarms.states import (
    AlarmChange,
    Alarms,
    acknowledge,
    graver_of,
    lesser_of,
    restore,
    snapshot,
    step_alarms,
)
from controller.alarms.tick_view import AlarmLimits, TickView
from controller.clock import Clock

if TYPE_CHECKING:
    from controller.config import Settings

# The key under which the alarms are saved.
STATE_KEY = "alarms"


class AlarmWatch:
    """Every alarm of one tent.

    Parameters
    ----------
    settings : Settings
        Alarm limits, units and recipients.
    outboxes : list of Outbox
        Where messages go.
    """

    def __init__(self, settings: Settings, outboxes: list[Outbox] | None = None) -> None:
        self._outboxes = outboxes or []
        self.alarms: Alarms = {}
        self._covered: set[str] = set()  # raised while a graver one stood, and not sent
        self.use(settings)

    def use(self, settings: Settings) -> None:
        """Use other settings; the recipients stay those of the start."""
        self._settings = settings
        self._limits = AlarmLimits.from_settings(settings)
        self._least = Priority(settings.notify.least).rank

    def is_active(self, name: str) -> bool:
        """Whether an alarm is raised and not over."""
        alarm = self.alarms.get(name)
        return alarm is not None and alarm.is_active

    def restore(self, saved: object, now_s: float, away_s: float) -> None:
        """Restore the alarms that the last daemon saved."""
        rows = saved.get("alarms") if isinstance(saved, dict) else None
        self.alarms = restore(rows, now_s, away_s)

    def step(self, view: TickView, now_s: float, at_ms: int) -> tuple[AlarmChange, ...]:
        """Step every alarm; gives what changed, already handed to the outboxes."""
        self.alarms, changes = step_alarms(
            self.alarms, conditions(view, self._limits), now_s, at_ms
        )
        self._send(changes, at_ms)
        return changes

    def acknowledge(self, name: str | None) -> tuple[AlarmChange, ...]:
        """Take note that a person knows of one alarm, or of all."""
        self.alarms, changes = acknowledge(self.alarms, name)
        return changes

    def saved(self, now_s: float, at_ms: int) -> dict[str, Any]:
        """Give what the record keeps."""
        return {"at_ms": at_ms, "alarms": snapshot(self.alarms, now_s)}

    def close(self) -> None:
        """Stop telling."""
        for outbox in self._outboxes:
            outbox.close()

    def _send(self, changes: tuple[AlarmChange, ...], at_ms: int) -> None:
        for change in changes:
            name, settings = change.alarm.name, self._settings
            if change.alarm.kind.priority.rank < self._least:
                continue
            # One message for one matter, and it says the graver thing.
            if change.event == "alarm.raised" and graver_of(change.alarm, self.alarms) is not None:
                self._covered.add(name)
                continue
            lesser = lesser_of(change.alarm, self.alarms)
            if lesser is not None and change.event == "alarm.cleared":
                self._covered.discard(lesser.name)
            if name in self._covered:
                self._covered.discard(name)
                continue
            zone = ZoneInfo(settings.place.timezone)
            worded = message(change, settings.tent.name, at_ms, settings.units, zone, lesser)
            if worded is not None:
                self.send(worded)

    @property
    def tells_people(self) -> bool:
        """Whether messages go anywhere."""
        return bool(self._outboxes)

    def send(self, worded: Message) -> None:
        """Hand a message to every outbox; never blocks."""
        for outbox in self._outboxes:
            outbox.put(worded)


def event_of(change: AlarmChange) -> tuple[str, str, dict[str, Any]]:
    """Give name, level and data of the event that records a change."""
    level = "info"
    if change.event == "alarm.raised":
        level = "error" if change.alarm.kind.priority is Priority.HIGH else "warning"
    return change.event, level, event_data(change)


def open_outboxes(settings: Settings, clock: Clock, report: Report) -> list[Outbox]:
    """Open an outbox for each way that the config names."""
    channels: list[Channel] = []
    command, urls_file = settings.notify_command, settings.notify_urls_file
    if command is not None:
        channels.append(CommandChannel(command))
    if urls_file is not None:
        channels.append(UrlsChannel(urls_file))
    most = settings.notify.most_per_hour
    return [Outbox(channel, clock, report, most_per_hour=most) for channel in channels]
