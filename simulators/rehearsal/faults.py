"""Fault scripts: what breaks in a rehearsal, and when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from controller.clock_time import clock_time
from controller.display import duration
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.yaml_tree import Mapping, Node, YamlSource

FAULT_FILE = """A fault script is a YAML file with a list `faults`. Each has
  fault   one of the kinds below
  at      when it begins: 2013-07-18 14:00 (local), 14:00 (on the first day), or a
          time after the start, such as 1 d 14 h
  for     how long it lasts, such as 6 h; default: to the end
and some take more:
  sensor_stuck      sensor: NAME   repeats its last reading for ever
  sensor_dropped    sensor: NAME   no longer answers
  sensor_drifting   sensor: NAME, temperature_per_day: 3 K, humidity_per_day: 5 %
  fan_dead                         gets its command and doesn't turn
  filter_clogging   factor: 6      the filter, or without one the whole duct, comes to resist so
                                   many times as much
  lamp_stuck_on                    lit whatever timer or relay say
  power_cut                        no mains: lamp, fan and controller
  controller_down                  the Pi alone is dead; the wiring rules the fan
  clock_wrong       by: -3 h       the Pi's clock is wrong by so much, then set right
Without `sensor`, every tent sensor is meant."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that breaks.

    Attributes
    ----------
    kind : str
        A key of `KINDS`.
    from_s, until_s : float
        When [Unix s]; `until_s` is infinite when it lasts.
    sensors : tuple of str
        Names of the sensors meant; empty for other faults.
    kelvin_per_s, pct_per_s : float
        Drift [K/s, %/s].
    factor : float
        What the filter comes to resist, over when new.
    by_s : float
        By how much the clock is wrong [s].
    """

    kind: str
    from_s: float
    until_s: float = inf
    sensors: tuple[str, ...] = ()
    kelvin_per_s: float = 0.0
    pct_per_s: float = 0.0
    factor: float = 1.0
    by_s: float = 0.0

    def is_on(self, wall_s: float) -> bool:
        """Whether it holds at a time."""
        return self.from_s <= wall_s < self.until_s


# Kind: what it takes besides `at` and `for`, and in words.
KINDS: dict[str, tuple[tuple[str, ...], str]] = {
    "sensor_stuck": (("sensor",), "sticks at its last reading"),
    "sensor_dropped": (("sensor",), "no longer answers"),
    "sensor_drifting": (("sensor", "temperature_per_day", "humidity_per_day"), "drifts"),
    "fan_dead": ((), "the fan gets its command and doesn't turn"),
    "filter_clogging": (("factor",), "the filter clogs"),
    "lamp_stuck_on": ((), "the lamp stays lit whatever timer or relay say"),
    "power_cut": ((), "no mains: lamp, fan and controller are dead"),
    "controller_down": ((), "the controller alone is dead"),
    "clock_wrong": (("by",), "the controller's clock is wrong"),
}
# One fault alone, early in the first afternoon.
BUILT_IN: dict[str, str] = {
    "sensor-stuck": "- {fault: sensor_stuck, at: 13:00}",
    "sensor-dropped": "- {fault: sensor_dropped, at: 13:00, for: 6 h}",
    "sensor-drifting": "- {fault: sensor_drifting, at: 13:00, temperature_per_day: -3 K}",
    "fan-dead": "- {fault: fan_dead, at: 13:00, for: 6 h}",
    "filter-clogging": "- {fault: filter_clogging, at: 00:00, factor: 10}",
    "filter-blocked": "- {fault: filter_clogging, at: 13:00, for: 10 min, factor: 40}",
    "lamp-stuck-on": "- {fault: lamp_stuck_on, at: 13:00, for: 24 h}",
    "power-cut": "- {fault: power_cut, at: 13:00, for: 90 min}",
    "controller-down": "- {fault: controller_down, at: 13:00, for: 4 h}",
    "clock-wrong": "- {fault: power_cut, at: 13:00, for: 5 min}\n"
    "- {fault: clock_wrong, at: 13:00, for: 2 h, by: -19 h}",
}
_EXAMPLES = {
    "at": "2013-07-18 14:00, 14:00 or 1 d 14 h",
    "for": "6 h",
    "by": "-3 h",
    "factor": "6",
    "temperature_per_day": "3 K",
    "humidity_per_day": "5 %",
}


def load_faults(source: str, settings: Settings, start_s: float) -> tuple[Fault, ...]:
    """Read a fault script.

    Parameters
    ----------
    source : str
        A file, or a key of `BUILT_IN`.
    settings : Settings
        The tent's: for its sensors and zone.
    start_s : float
        When the rehearsal starts [Unix s].

    Raises
    ------
    ConfigError
        With every problem of the file, file and line named.
    UserError
        There is no such file.
    """
    from controller.config.yaml_parser import decode, read

    path = Path(source)
    if not path.is_file() and source in BUILT_IN:
        text = "faults:\n" + "\n".join(f"  {line}" for line in BUILT_IN[source].splitlines())
    else:
        try:
            text = decode(path.read_bytes()[:1_000_000], path.name)
        except OSError as error:
            raise UserError(
                f"{source}: {error.strerror}; give a fault script or one of the names "
                f"{', '.join(BUILT_IN)}",
                status=2,
            ) from None
    return _Reader(read(text, path.name), settings, start_s).faults()


class _Reader:
    """Turns the tree of a script into faults, or into all of its problems."""

    def __init__(self, source: YamlSource, settings: Settings, start_s: float) -> None:
        self._source = source
        self._settings = settings
        self._zone = ZoneInfo(settings.place.timezone)
        self._start_s = start_s
        self._problems = list(source.problems)

    def faults(self) -> tuple[Fault, ...]:
        from controller.config import ConfigError
        from controller.config.yaml_tree import Mapping, Sequence

        entries = self._source.root.entries
        for key, (place, _) in entries.items():
            if key != "faults":
                self._object(place, f"no key {key!r}", "`faults`, a list")
        node = entries["faults"][1] if "faults" in entries else None
        faults = []
        if not isinstance(node, Sequence) or not node.items:
            self._object(
                node or self._source.root,
                "no list of faults",
                "`faults:` and a list below it; `--faults help` shows one",
            )
        else:
            for item in node.items:
                if isinstance(item, Mapping):
                    fault = self._fault(item)
                    if fault is not None:
                        faults.append(fault)
                else:
                    self._object(item, "not a fault", "such as `- fault: fan_dead`")
        if self._problems:
            raise ConfigError(tuple(sorted(set(self._problems))))
        return tuple(sorted(faults, key=lambda fault: fault.from_s))

    def _object(self, node: Node, message: str, expected: str) -> None:
        from controller.config import Problem

        self._problems.append(Problem(self._source.name, node.line, node.column, message, expected))

    def _fault(self, item: Mapping) -> Fault | None:
        kind = self._text(item, "fault", "")
        if kind not in KINDS:
            node = item.entries["fault"][1] if "fault" in item.entries else item
            self._object(node, f"no fault {kind!r}", f"one of {', '.join(KINDS)}")
            return None
        takes = ("fault", "at", "for", *KINDS[kind][0])
        for key, (place, _) in item.entries.items():
            if key not in takes:
                self._object(place, f"{kind} takes no {key!r}", f"one of {', '.join(takes)}")
        from_s = self._read(item, "at", "00:00", self._instant)
        length_s = self._read(item, "for", "", _length)
        by_s = self._read(item, "by", "-3 h", lambda text: _quantity(text, "duration"))
        if from_s is None or length_s is None or by_s is None:
            return None
        sensors: tuple[str, ...] = ()
        if kind.startswith("sensor_"):
            sensors = self._sensors(item)
        return Fault(
            kind,
            from_s,
            from_s + length_s,
            sensors,
            kelvin_per_s=self._rate(item, "temperature_per_day", "temperature_difference"),
            pct_per_s=self._rate(item, "humidity_per_day", "humidity_difference"),
            factor=self._read(item, "factor", "6", _factor) or 1.0,
            by_s=by_s,
        )

    def _sensors(self, item: Mapping) -> tuple[str, ...]:
        name = self._text(item, "sensor", "")
        names = [s.name for s in self._settings.sensors]
        if not name:
            return tuple(s.name for s in self._settings.sensors if s.role == "tent")
        if name not in names:
            self._object(
                item.entries["sensor"][1], f"no sensor {name!r}", f"one of {', '.join(names)}"
            )
        return (name,)

    def _rate(self, item: Mapping, key: str, kind: str) -> float:
        if key not in item.entries:
            return 0.0
        return (self._read(item, key, "", lambda text: _quantity(text, kind)) or 0.0) / 86_400.0

    def _text(self, item: Mapping, key: str, default: str) -> str:
        from controller.config.yaml_tree import Scalar

        node = item.entries[key][1] if key in item.entries else None
        return node.text or default if isinstance(node, Scalar) else default

    def _read(
        self, item: Mapping, key: str, default: str, parse: Callable[[str], float]
    ) -> float | None:
        text = self._text(item, key, default)
        try:
            return parse(text)
        except ValueError as error:
            place = item.entries[key][1] if key in item.entries else item
            self._object(place, f"`{key}`: {error}", f"such as {_EXAMPLES[key]}")
            return None

    def _instant(self, text: str) -> float:
        if (time := clock_time(text)) is not None:
            day = dt.datetime.fromtimestamp(self._start_s, self._zone).date()
            return dt.datetime.combine(day, time, self._zone).timestamp()
        try:
            instant = dt.datetime.fromisoformat(text)
        except ValueError:
            return self._start_s + _quantity(text, "duration")
        if instant.tzinfo is None:
            instant = instant.replace(tzinfo=self._zone)
        return instant.timestamp()


def _quantity(text: str, kind: str) -> float:
    from controller import units

    if not text:
        return inf
    sign = -1.0 if text[0] in "-−" and kind == "duration" else 1.0
    return sign * units.parse(text.lstrip("-−") if sign < 0 else text, kind)


def _length(text: str) -> float:
    value = _quantity(text, "duration")
    if value <= 0.0:
        raise ValueError(f"{text} is no length of time")
    return value


def _factor(text: str) -> float:
    value = float(text)
    if not 1.0 <= value <= 1000.0:
        raise ValueError(f"{text} is out of range, expected 1 to 1000")
    return value


def fault_words(fault: Fault, *, has_filter: bool = True) -> str:
    """What breaks, in words; without a filter it is the rest of the air's way that clogs."""
    words = KINDS[fault.kind][1]
    if fault.kind == "filter_clogging" and not has_filter:
        return "the duct and the intake clog (there is no filter)"
    if fault.kind == "clock_wrong":
        way = "behind" if fault.by_s < 0.0 else "ahead"
        return f"{words}, {duration(abs(fault.by_s))} {way}"
    if fault.sensors:
        which = " and ".join(fault.sensors)
        return f"the sensor {which} {words}" if len(fault.sensors) == 1 else f"{which}: {words}"
    return words
