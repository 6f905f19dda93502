"""Every text fits its terminal: of 80, 60 and 40 columns, without colour, without a cursor.

Only what is a single word may be longer, a path or a line for config.txt; drawings that do not fit
are left out or drawn smaller.
"""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from controller.__main__ import main
from controller.commands import check_starts, events
from controller.commissioning.course import CAUTIONS
from controller.config import Settings
from controller.record import RecordReader
from controller.sizing.assess import Sizing
from controller.sizing.cautions import cautions
from controller.sizing.plan import Plan
from controller.wiring import cautions as wiring_cautions

EXAMPLES = Path(__file__).parents[2] / "config"
WIDTHS = (80, 60, 40)
LEAST = """
tent: {name: least, width: 60 cm, depth: 60 cm, height: 90 cm}
place: {timezone: Europe/Berlin}
lamp: {power: 40 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: relay, pin: 18}
sensors: [{name: tent, role: tent, driver: simulated}]
"""
LARGE = """
tent: {name: Kräuter, width: 3 m, depth: 2 m, height: 2.2 m}
place: {timezone: Europe/Berlin}
lamp:
  power: 900 W
  photoperiod: {on: "20:00", off: "12:00"}
  switched_by: relay
  pin: 23
fan: {drive: hardware_pwm, pin: 18, free_flow: 500 m³/h, power: 90 W, tachometer: {pin: 24}}
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 4}
  - {name: room, role: intake, driver: dht22, pin: 17}
duct: {diameter: 150 mm, length: 4 m, bends: 2, filter: {pressure_drop: 80 Pa, flow: 500 m³/h}}
crop: {kind: basil, plants: 40, stage: vegetative}
room: {kind: attic}
energy: {price: 0.31 EUR/kWh}
"""
CONFIGS = ("chillies", "basil", "all-keys", "least", "large")


@pytest.fixture(scope="module")
def configs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("configs")
    paths = {name: EXAMPLES / f"{name}.yaml" for name in ("chillies", "basil", "all-keys")}
    for name, text in (("least", LEAST), ("large", LARGE)):
        paths[name] = folder / f"{name}.yaml"
        paths[name].write_text(text, encoding="utf-8")
    return paths


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A simulated hot day with a dead fan: many events, and alarms."""
    path = tmp_path_factory.mktemp("record") / "chillies.db"
    asked = ["--from", "2013-07-18", "--days", "1", "--faults", "fan-dead", "--record", str(path)]
    assert main(["rehearse", str(EXAMPLES / "chillies.yaml"), *asked]) == 0
    return path


@pytest.fixture(autouse=True)
def rehearsed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What `check` rehearses doesn't depend on the width."""
    rehearsed_starts = check_starts.rehearsed_starts

    def starts(settings: Settings, **options: bool) -> check_starts.Starts:
        key = repr((settings, options))
        if key not in _STARTS:
            _STARTS[key] = rehearsed_starts(settings, **options)
        return _STARTS[key]

    monkeypatch.setattr(check_starts, "rehearsed_starts", starts)


_STARTS: dict[str, check_starts.Starts] = {}


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    def ask(width: int, *arguments: str) -> str:
        monkeypatch.setenv("COLUMNS", str(width))
        capsys.readouterr()
        assert main(list(arguments)) in (0, 1)
        # Warnings, on stderr, are lines that editors read: FILE:LINE:COLUMN: warning: what.
        return capsys.readouterr().out

    return ask


def too_long(text: str, width: int) -> list[str]:
    return [line for line in text.splitlines() if len(line) > width and " " in line.strip()]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("config", CONFIGS)
@pytest.mark.parametrize(
    "command",
    [
        ("size",),
        ("size", "--full"),
        ("size", "--explain"),
        ("check",),
        ("check", "--full"),
        ("wiring",),
    ],
)
def test_what_a_config_comes_to_fits(said, configs, command, config, width) -> None:  # type: ignore[no-untyped-def]
    name, *options = command
    text = said(width, name, str(configs[config]), *options)
    lines = [line for line in too_long(text, width) if not line.strip().startswith("dtoverlay")]
    assert lines == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("command", ["now", "alarms"])
def test_what_a_record_holds_fits(said, record, command, width) -> None:  # type: ignore[no-untyped-def]
    text = said(width, command, str(EXAMPLES / "chillies.yaml"), "--record", str(record))
    assert too_long(text, width) == []
    assert len(text.splitlines()) > 3


@pytest.mark.parametrize("width", WIDTHS)
def test_events_fit_a_terminal_and_are_one_line_each_for_a_program(
    record: Path, width: int
) -> None:
    zone = ZoneInfo("America/New_York")
    with RecordReader(record) as reader:
        for event in reader.events():
            shown = events.line(event, "us", zone, width)
            assert too_long(shown, width) == []
            plain = events.line(event, "us", zone)
            assert "\n" not in plain
            assert plain.split() == shown.split()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_state_of_the_air_fits(said, record, width) -> None:  # type: ignore[no-untyped-def]
    text = said(
        width, "air", "--config", str(EXAMPLES / "chillies.yaml"), "--record", str(record),
        "--leaf-offset", "-1 K",
    )  # fmt: skip
    assert too_long(text, width) == []
    assert "dew point" in text


@pytest.mark.parametrize("width", WIDTHS)
def test_commissioning_fits(said, tmp_path, width) -> None:  # type: ignore[no-untyped-def]
    text = said(
        width, "commission", str(EXAMPLES / "chillies.yaml"), "--simulate", "--yes",
        "--output", str(tmp_path),
    )  # fmt: skip
    assert too_long(text, width) == []
    for caution in CAUTIONS.splitlines():
        assert " ".join(caution.split()) in " ".join(text.split())
    (report,) = tmp_path.glob("*.txt")
    assert too_long(report.read_text("utf-8"), 80) == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("config", CONFIGS)
def test_no_caution_is_chopped(said, configs, config, width) -> None:  # type: ignore[no-untyped-def]
    from controller.config import load_settings

    settings = load_settings(configs[config]).settings
    shown = " ".join(said(width, "size", str(configs[config]), "--full").split())
    for caution in cautions(Sizing.from_plan(Plan.from_settings(settings)), settings.units):
        assert " ".join(caution.split()) in shown
    sheet = " ".join(said(width, "wiring", str(configs[config])).split())
    assert " ".join(wiring_cautions.FIRST.split()) in sheet


@pytest.mark.parametrize("config", CONFIGS)
def test_size_is_short_and_has_the_mains_caution(said, configs, config) -> None:  # type: ignore[no-untyped-def]
    text = said(80, "size", str(configs[config]))
    assert len(text.splitlines()) <= 34
    assert text.count("\n  - ") == 3
    assert "licensed electrician" in " ".join(text.split())


@pytest.mark.parametrize("variables", [{"NO_COLOR": "1"}, {"TERM": "dumb"}, {"TERM": ""}])
def test_a_plain_terminal_gets_plain_text(said, configs, monkeypatch, variables) -> None:  # type: ignore[no-untyped-def]
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    for command in ("size", "check", "wiring"):
        text = said(80, command, str(configs["chillies"]))
        assert "\x1b" not in text
        assert "\r" not in text
