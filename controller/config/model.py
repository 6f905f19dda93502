"""The settings of one tent: every section, and what follows from several of them."""

from __future__ import annotations

import os
import re
from pathlib import Path

from controller.config.quantities import Flag
from controller.config.section import Section, key
from controller.config.sections.alarms import Alarms, Notify
from controller.config.sections.fan import FanConfig, Quiet, Schedule
from controller.config.sections.forecast import ForecastConfig
from controller.config.sections.lamp import Lamp
from controller.config.sections.record import EnergyConfig, RecordConfig
from controller.config.sections.room import Crop, DuctConfig, RoomConfig
from controller.config.sections.sensors import Sensor
from controller.config.sections.targets import Failsafe, Overrides, Targets
from controller.config.sections.tent import Place, TentConfig
from controller.display import Units

_SYSTEM_STATE = Path("/var/lib/lungwort")


class Settings(Section):
    """Everything one config file says about one tent, in SI."""

    tent: TentConfig
    place: Place
    lamp: Lamp
    fan: FanConfig
    schedule: Schedule = key(default_factory=Schedule)
    quiet: Quiet | None = None
    sensors: tuple[Sensor, ...] = key(reopens=True, min_length=1, max_length=16)
    targets: Targets = key(default_factory=Targets)
    overrides: Overrides = key(default_factory=Overrides)
    failsafe: Failsafe = key(reopens=True, default_factory=Failsafe)
    alarms: Alarms = key(default_factory=Alarms)
    notify: Notify = key(reopens=True, default_factory=Notify)
    energy: EnergyConfig = key(default_factory=EnergyConfig)
    record: RecordConfig = key(default_factory=RecordConfig)
    learn: Flag = key(
        default=True,
        description="Whether the tent's own figures are learned from its record every night.",
    )
    forecast: ForecastConfig = key(default_factory=ForecastConfig)
    duct: DuctConfig | None = None
    crop: Crop | None = None
    room: RoomConfig = key(default_factory=RoomConfig)

    @property
    def units(self) -> Units:
        """The units shown to people."""
        return self.place.units or "si"

    @property
    def record_path(self) -> Path:
        """The record's file, absolute; a relative path lies in the state directory."""
        path = self.record.path or Path(f"{file_stem(self.tent.name)}.sqlite3")
        return state_directory() / path.expanduser()

    @property
    def notify_command(self) -> Path | None:
        """The program that is run for each message, absolute; None where there is none."""
        path = self.notify.command
        return None if path is None else state_directory() / path.expanduser()

    @property
    def notify_urls_file(self) -> Path | None:
        """The file of notification URLs, absolute; None where there is none."""
        path = self.notify.urls_file
        return None if path is None else state_directory() / path.expanduser()

    @property
    def backup_path(self) -> Path | None:
        """Where a copy of the record is put, absolute; None where none is wanted."""
        path = self.record.backup_to
        return None if path is None else state_directory() / path.expanduser()

    @property
    def forecast_file(self) -> Path | None:
        """The file of outdoor weather, absolute; None where there is none."""
        path = self.forecast.file
        return None if path is None else state_directory() / path.expanduser()


def state_directory() -> Path:
    """Where records live: systemd's, this machine's where lungwort is installed, or the user's."""
    given = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if given:
        return Path(given)
    # So that `lungwort now` in a shell finds the record that the service writes.
    if os.access(_SYSTEM_STATE, os.R_OK | os.X_OK):
        return _SYSTEM_STATE
    base = os.environ.get("XDG_STATE_HOME", "")
    home = Path(base) if base.startswith("/") else Path.home() / ".local" / "state"
    return home / "lungwort"


def file_stem(name: str) -> str:
    """A tent's name as a file name without surprises; in other letters than these, a number.

    Without any letter or digit it is "tent", which the config's checks refuse.
    """
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
    if plain or not has_letter_or_digit(name):
        return plain or "tent"
    import hashlib

    return f"tent-{hashlib.sha256(name.encode()).hexdigest()[:8]}"


def has_letter_or_digit(name: str) -> bool:
    """Whether a tent's name has a letter or a digit, of whatever script."""
    return any(sign.isalnum() for sign in name)
