"""What is fuzzed: each target takes any bytes, and raises only when something is wrong with us.

Used by `tests/benches/fuzz.sh`, and by the test that replays the corpus.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import pickle
import sqlite3
import struct
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.alarms.states import restore as restore_alarms
from controller.commands import events as events_command
from controller.commands import now as now_command
from controller.commands.alarms import rows_of as alarm_rows
from controller.config import ConfigError, Settings, settings_from_text
from controller.config.load import load_text
from controller.config.yaml_parser import MAX_BYTES, decode
from controller.control import Memory, Now, Reading, Readings, Rules, decide
from controller.daemon.control_socket import ControlSocket
from controller.daemon.loop import Loop
from controller.daemon.scheduler import SteppedCalendar
from controller.daemon.systemd import Notifier
from controller.errors import UserError
from controller.record import (
    BackgroundRecord,
    EventRow,
    ReadingRow,
    RecordError,
    RecordReader,
    RecordWriter,
    SensorRow,
)
from controller.record.status import DaemonStatus
from simulators.weather import load_weather

sys.path.insert(0, str(Path(__file__).parents[1] / "daemon"))
from daemon_builders import Bench

ZONE = ZoneInfo("Europe/Rome")
START_MS = 1_374_105_600_000
Target = Callable[[bytes], None]


def config(data: bytes) -> None:
    """Any file loads or is refused with places; what loads survives the way to the daemon."""
    try:
        loaded = load_text(decode(data[: MAX_BYTES + 1], "f.yaml"), "f.yaml")
    except ConfigError as error:
        assert error.problems
        for problem in error.problems:
            assert "\n" not in str(problem)
            assert problem.message
        return
    copy = pickle.loads(pickle.dumps(loaded.settings))
    assert copy == loaded.settings


@functools.cache
def _folder() -> Path:
    shared = Path("/dev/shm")
    where = shared if shared.is_dir() and os.access(shared, os.W_OK | os.X_OK) else None
    return Path(tempfile.mkdtemp(prefix="lungwort-fuzz-", dir=where))


@functools.cache
def _good_record() -> bytes:
    path = _folder() / "good"
    with contextlib.closing(RecordWriter(path, durable=False)) as writer:
        writer.config(START_MS, "tent: {}", "aa")
        for n in range(3):
            at_ms = START_MS + 60_000 * n
            writer.reading(
                ReadingRow(
                    at_ms=at_ms,
                    interval_s=60.0,
                    fan_speed=0.4,
                    fan_on_s=60.0,
                    lamp_on=True,
                    lamp_on_s=60.0,
                    in_fan_hours=True,
                    rule="schedule",
                    tent_temperature_c=24.0,
                    tent_humidity_pct=60.0,
                    sensors=(SensorRow("top", 24.0, 60.0),),
                )
            )
            writer.event(at_ms, "fan.changed", speed=0.4, was=None, rule="schedule", reasons=[])
        writer.save_state("memory", START_MS, {"at_ms": START_MS, **Memory().snapshot(0.0)})
        writer.save_state("alarms", START_MS, {"at_ms": START_MS, "alarms": []})
        writer.save_state("now", START_MS, {"at_ms": START_MS})
    return path.read_bytes()


_STATES = ("memory", "alarms", "now", "summarised", "backed_up")
_REALS = (float("inf"), -1e308, 5e-324, -0.0, 1e19)


def _scrambled(data: bytes) -> bytes:
    """A good record with some bytes overwritten: pairs of where (3 bytes) and what (1)."""
    good = bytearray(_good_record())
    for i in range(0, len(data) - 3, 4):
        where = int.from_bytes(data[i : i + 3], "big") % len(good)
        good[where] = data[i + 3]
    return bytes(good)


def _odd_values(path: Path, data: bytes) -> None:
    """A sound file whose rows hold what only a broken writer would write."""
    path.write_bytes(_good_record())
    text = data[10:].decode("utf-8", "replace")
    (number,) = struct.unpack(">q", data[1:9].rjust(8, b"\0"))
    pick = data[9] if len(data) > 9 else 0
    real = _REALS[pick % len(_REALS)]
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        with contextlib.suppress(sqlite3.IntegrityError):
            db.execute("INSERT INTO events VALUES (99, ?, ?, ?, ?)", (number, text, "error", text))
        name = ("fan.changed", "override.engaged", "hold.set", "clock.stepped", "day.summarised")
        db.execute("UPDATE events SET name = ?, data = ?", (name[pick % len(name)], text))
        db.execute(
            "UPDATE readings SET tent_temperature_c = ?, interval_s = ?, rule = ?, lamp_on = ?",
            (real, real, text, number),
        )
        with contextlib.suppress(sqlite3.IntegrityError):
            db.execute("UPDATE readings SET at_ms = ? WHERE at_ms = ?", (number, START_MS))
        db.execute("UPDATE sensor_readings SET fault = ?, failures = ?", (text, number))
        for key in _STATES:
            db.execute("INSERT OR REPLACE INTO state VALUES (?, ?, ?)", (key, number, text))


@functools.cache
def _rules() -> Rules:
    return Rules.from_settings(_settings())


@functools.cache
def _settings() -> Settings:
    folder = Path(__file__).parents[2] / "config"
    return settings_from_text((folder / "basil.yaml").read_text(encoding="utf-8")).settings


def record(data: bytes) -> None:
    """Any file gives rows, or an error for the user; so do those who show and restore them."""
    path = _folder() / "tent"
    for beside in ("-wal", "-shm", "-journal"):
        path.with_name(path.name + beside).unlink(missing_ok=True)
    mode = data[0] % 4 if data else 0
    if mode == 0:
        path.write_bytes(data[1:])
    elif mode == 1:
        path.write_bytes(_scrambled(data[1:]))
    elif mode == 2:
        _odd_values(path, data)
    else:  # a log left over from a power cut
        path.write_bytes(_good_record())
        path.with_name(path.name + "-wal").write_bytes(data[1:])
    with contextlib.suppress(UserError), RecordReader(path) as reader:
        _read_all(reader)
    # The daemon's way: it starts and records, in a new file where the old one is damaged, unless
    # the file is some other program's or a newer version's.
    kept = [path, *(path.with_name(path.name + beside) for beside in ("-wal", "-shm"))]
    try:
        daemon = BackgroundRecord(
            path, emit=_nothing, open_writer=_hasty_writer, backoff_s=(0.0, 0.0, 60.0)
        )
    except RecordError:
        return
    for key in _STATES:
        _restore(key, daemon.load_state(key))
    daemon.wait_for_check()  # it reads the file, which is not moved and not replaced meanwhile
    daemon.event(START_MS, "daemon.started")
    kept_all = any(daemon.flush(10.0) for _ in range(4))  # set aside, begun anew, written
    # A header can say that only newer versions of SQLite may write: no different from a read-only
    # card, and waited for like one.
    assert kept_all or "readonly" in str(daemon.trouble), daemon.trouble
    daemon.close(10.0)
    for aside in {*_folder().glob("tent.corrupt-*"), *kept}:
        aside.unlink(missing_ok=True)


def _hasty_writer(path: Path) -> RecordWriter:
    return RecordWriter(path, durable=False)


def _nothing(*args: object) -> None: ...


def _read_all(reader: RecordReader) -> None:
    settings = _settings()
    for row in reader.readings():
        assert isinstance(row, ReadingRow)
    for _, sensor in reader.sensors():
        assert isinstance(sensor, SensorRow)
    for event in reader.events():
        assert isinstance(event, EventRow)
        assert "\n" not in events_command.line(event, "us", ZONE)
        json.loads(events_command.json_line(event, "si", ZONE))
    reader.configs()
    reader.span()
    reader.latest()
    for key in _STATES:
        saved = reader.state(key)
        if saved is not None:
            _restore(key, saved.value)
            if key == "alarms" and isinstance(saved.value, dict):
                alarm_rows(saved.value, ZONE, is_dark=False)
    view = now_command.look(reader, settings, START_MS / 1000 + 200.0)
    now_command.as_text(view, "bench", 80)
    json.dumps(now_command.as_json(view))


def _restore(key: str, value: object) -> None:
    if key == "memory" and isinstance(value, dict):
        with contextlib.suppress(ValueError):
            memory = Memory.restore(value, 100.0, 10.0)
            air = Readings(Reading(100.0, 23.0, 55.0))
            decision = decide(Now(100.0, True, True), air, _rules(), memory)
            assert 0.0 <= decision.speed <= 1.0
            json.dumps(decision.memory.snapshot(200.0), allow_nan=False)
    elif key == "alarms":
        rows = value.get("alarms") if isinstance(value, dict) else None
        restore_alarms(rows, 100.0, 10.0)
    elif key == "now":
        DaemonStatus.from_json(value)


@functools.cache
def _listening() -> tuple[ControlSocket, Loop]:
    """A control socket whose requests a real loop and controller answer at once."""
    bench = Bench()
    start_s = bench.clock.wall_s()
    bench.controller.tick()
    loop = Loop(
        bench.controller,
        bench.record,
        bench.clock,
        notifier=Notifier({}),
        calendar=SteppedCalendar([], ZONE, start_s),
        wake=threading.Event(),
    )

    def answer() -> None:
        for request in socket.requests():
            loop._serve(request)

    socket = ControlSocket(_folder() / "t.sock", answer)
    return socket, loop


def control(data: bytes) -> None:
    """Any line through the control socket is answered, and the daemon's next tick is as ever."""
    socket, loop = _listening()
    reply = socket._reply(data[:4096])
    assert isinstance(json.loads(json.dumps(reply)), dict)
    memory = loop._controller.memory
    if memory.hold is not None:
        assert 0.0 <= memory.hold.speed <= 1.0
    loop._controller.tick()


def weather(data: bytes) -> None:
    """Any weather file is read or refused."""
    path = _folder() / "weather.csv"
    path.write_bytes(data)
    with contextlib.suppress(UserError):
        load_weather(path, "Europe/Rome")


TARGETS: dict[str, Target] = {
    "config": config,
    "record": record,
    "control": control,
    "weather": weather,
}
CORPUS = Path(__file__).parent / "corpus"


def corpus_of(name: str) -> Iterator[Path]:
    """The kept inputs of a target, in a steady order."""
    return iter(sorted(path for path in (CORPUS / name).iterdir() if path.is_file()))
