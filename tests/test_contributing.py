"""The recipes of DEVELOPERS.md, "Contributing", followed in a copy: each does what it says there.

Each step puts a text behind an anchor, the first of its file; a new file has the anchor "". No
recipe may touch more than four files, tests and generated files not counted.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
Step = tuple[str, str, str]


@pytest.fixture(scope="module")
def pristine(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _copy(tmp_path_factory.mktemp("pristine"))


def _copy(to: Path) -> Path:
    ignored = shutil.ignore_patterns("__pycache__", "*.csv")
    for package in ("controller", "simulators"):
        shutil.copytree(ROOT / package, to / package, ignore=ignored)
    return to


def follow(copy: Path, steps: Sequence[Step]) -> set[str]:
    """Take the steps; gives the files touched."""
    for name, anchor, text in steps:
        path = copy / name
        if not anchor:
            path.write_text(text, "utf-8")
            continue
        before = path.read_text("utf-8")
        assert anchor in before, f"{name}: {anchor!r} is gone"
        path.write_text(before.replace(anchor, anchor + text, 1), "utf-8")
    return {name for name, _, _ in steps}


def run(copy: Path, code: str) -> str:
    env = {**os.environ, "PYTHONPATH": str(copy)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=copy, env=env, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def recipe_files(title: str) -> set[str]:
    """The files that DEVELOPERS.md lists under a recipe's title."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    section = text.partition("\n## Contributing\n")[2].partition("\n## ")[0]
    recipe = section.partition(f"\n### {title}\n")[2].partition("\n### ")[0]
    listed = re.findall(r"^\d\. `([^`]+\.py)`", recipe, flags=re.MULTILINE)
    assert 0 < len(listed) <= 4, f"recipe {title!r}: {listed}"
    return set(listed)


CONFIG = """
tent: {name: t, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Berlin, units: si}
lamp: {power: 100 W, photoperiod: {on: 06:00, off: 22:00}}
fan: {drive: pwm, pin: 18}
schedule: {day_speed: 40 %, night_speed: 20 %}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
targets:
  day: {temperature: [18 °C, 26 °C], humidity: [40 %, 70 %], vpd: [0.6 kPa, 1.6 kPa]}
  night: {temperature: [15 °C, 24 °C], humidity: [40 %, 80 %], vpd: [0.3 kPa, 1.6 kPa]}
"""

DRIVER = [
    (
        "controller/sensors/bench.py",
        "",
        "from controller.sensors.driver import Measurement\n\n\n"
        "class BenchDriver:\n"
        "    def read(self):\n        return Measurement(21.0, 50.0)\n\n"
        "    def close(self):\n        pass\n",
    ),
    ("controller/config/sections/sensors.py", 'Driver = Literal["dht22", ', '"bench", '),
    (
        "controller/sensors/open_sensors.py",
        '        When the device is not there, with what to do about it.\n    """\n',
        '    if sensor.driver == "bench":\n'
        "        from controller.sensors.bench import BenchDriver\n\n"
        "        return BenchDriver()\n",
    ),
    ("controller/sensors/data_sheets.py", "_BY_DRIVER = {", '"bench": _ANY_KERNEL, '),
]


def test_the_recipe_of_a_sensor_driver_gives_one_that_reads(pristine: Path, tmp_path: Path) -> None:
    files = follow(_copy(tmp_path), DRIVER)
    assert len(files) <= 4
    code = (
        "from controller.config import settings_from_text\n"
        "from controller.sensors.open_sensors import open_driver\n"
        "from controller.sensors.data_sheets import profile_of\n"
        f"text = {CONFIG!r}.replace('driver: dht22, pin: 4', 'driver: bench')\n"
        "sensor, = settings_from_text(text).settings.sensors\n"
        "print(*open_driver(sensor).read(), profile_of(sensor).accuracy_k)\n"
    )
    assert run(tmp_path, code) == "21.0 50.0 None 1.0\n"
    assert {name.replace("bench", "NAME") for name in files} == recipe_files("A sensor driver")
    with pytest.raises(AssertionError, match="bench"):
        run(pristine, code)


# Air far above its dew point is dry: a third thing that "too dry" may compare.
OVERRIDE = [
    (
        "controller/control/override_state.py",
        '    OverrideKind(Rule.TOO_DRY, Quantity.VPD, +1, "Pa"),\n',
        '    OverrideKind(Rule.TOO_DRY, Quantity.DEW_POINT, +1, "K"),\n',
    ),
    (
        "controller/control/override_state.py",
        "        temperature_c,\n        humidity_pct,\n        vpd_pa,\n        distance_k,\n"
        "        temperature_c,\n        humidity_pct,\n        vpd_pa,\n",
        "        distance_k,\n",
    ),
    ("controller/control/thresholds.py", "    high_vpd_pa: float\n", "    far_k: float\n"),
    (
        "controller/control/thresholds.py",
        "        high_vpd_pa=targets.vpd_pa.high,\n",
        "        far_k=14.0,\n",
    ),
    (
        "controller/control/thresholds.py",
        "                over.vpd.hysteresis_pa,\n                over.dew_point.hysteresis_k,\n"
        "                over.temperature.hysteresis_k,\n"
        "                over.humidity.hysteresis_pct,\n"
        "                over.vpd.hysteresis_pa,\n",
        "                over.dew_point.hysteresis_k,\n",
    ),
    (
        "controller/control/thresholds.py",
        "                over.vpd.delay_s,\n                over.dew_point.delay_s,\n"
        "                over.temperature.delay_s,\n                over.humidity.delay_s,\n"
        "                over.vpd.delay_s,\n",
        "                over.dew_point.delay_s,\n",
    ),
    (
        "controller/control/thresholds.py",
        "                reduced(over.vpd.reduced_speed),\n",
        "                0.25,\n",
    ),
]
# Keys of its own are a section's, a rule of its own needs its name and its words.
OVERRIDE_MORE = {"controller/config/sections/targets.py", "controller/wording/reasons.py"}


def test_the_recipe_of_an_override_gives_one_that_decides(pristine: Path, tmp_path: Path) -> None:
    files = follow(_copy(tmp_path), OVERRIDE)
    assert len(files | OVERRIDE_MORE) <= 4
    code = (
        "from controller.config import settings_from_text\n"
        "from controller.control import *\n"
        f"rules = Rules.from_settings(settings_from_text({CONFIG!r}).settings)\n"
        "memory = Memory()\n"
        "for at_s in range(0, 1200, 10):\n"
        "    now = Now(float(at_s), lamp_on=True, in_fan_hours=True)\n"
        "    readings = Readings(Reading(float(at_s), 24.0, 40.5))\n"
        "    wide = rules._replace(day=rules.day._replace(high_vpd_pa=9e3))\n"
        "    decision = decide(now, readings, wide, memory)\n"
        "    memory = decision.memory\n"
        "first = reasons(decision, now, readings, wide)[0]\n"
        "print(decision.speed, first.rule, first.quantity, first.limit)\n"
    )
    assert run(tmp_path, code) == "0.25 too_dry dew_point 14.0\n"
    assert run(pristine, code).startswith("0.4 schedule")
    assert recipe_files("An override") == files | OVERRIDE_MORE


def _only(pattern: str) -> str:
    """The one file of a name, from the root."""
    (path,) = (ROOT / "controller" / "review").rglob(pattern)
    return str(path.relative_to(ROOT))


CAUSE = [
    (
        _only("cause_conditions.py"),
        "CODES = {\n",
        '    "lamp_dark": "the lamp was dark",\n',
    ),
    (
        _only("cause_conditions.py"),
        '        ("held_by_hand", "r.rule = \'manual_hold\'"),\n',
        '        ("lamp_dark", "r.lamp_on = 0"),\n',
    ),
    (
        _only("cause_words.py"),
        "    texts = {\n",
        '        "lamp_dark": f"lamp dark for {minutes}{span}",\n',
    ),
]


def test_the_recipe_of_a_cause_gives_one_with_words(pristine: Path, tmp_path: Path) -> None:
    files = follow(_copy(tmp_path), CAUSE)
    assert len(files) <= 3  # and its rank and its headline
    code = (
        "from controller.review.cause_conditions import CODES, conditions\n"
        "print(CODES.get('lamp_dark'), dict(conditions('humidity', 'below')).get('lamp_dark'))\n"
    )
    assert run(tmp_path, code) == "the lamp was dark r.lamp_on = 0\n"
    assert run(pristine, code) == "None None\n"
    assert files < recipe_files("A cause")


COMMAND = [
    (
        "controller/commands/greet.py",
        "",
        "def add(subparsers):\n"
        '    parser = subparsers.add_parser("greet", help="say hello to the plants")\n'
        "    parser.set_defaults(run=run)\n\n\n"
        "def run(args):\n"
        '    print("hello, plants")\n'
        "    return 0\n",
    ),
    ("controller/__main__.py", "COMMANDS = (\n", '    "greet",\n'),
]


def test_the_recipe_of_a_command_gives_one_that_runs(pristine: Path, tmp_path: Path) -> None:
    files = follow(_copy(tmp_path), COMMAND)
    assert len(files) <= 4
    code = "import sys\nfrom controller.__main__ import main\nsys.exit(main(['greet']))\n"
    assert run(tmp_path, code) == "hello, plants\n"
    assert "say hello to the plants" in run(
        tmp_path,
        "from controller.__main__ import build_parser\nprint(build_parser().format_help())",
    )
    with pytest.raises(AssertionError, match="greet"):
        run(pristine, code)
    assert {name.replace("greet", "NAME") for name in files} == recipe_files("A command")


def test_every_file_of_a_recipe_exists() -> None:
    for title in ("A sensor driver", "An override", "A cause", "A command"):
        names = [name for name in recipe_files(title) if "NAME" not in name]
        assert all((ROOT / name).exists() for name in names)
