"""The schema for editors: current, useful, and never stricter than the loader.

Checked with jsonschema, a general reference library, on what an editor's YAML 1.2 reader sees.
"""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from settings_texts import good, load

from controller.commands import schema as command
from controller.config import ConfigError
from controller.config import schema as json_schema
from controller.errors import UserError

CONFIG = Path(__file__).parents[2] / "config"
SCHEMA = json_schema.schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


class _Core(yaml.SafeLoader):
    """YAML 1.2's core schema, which editors read by: 6:00 and `on` are texts."""


_Core.yaml_implicit_resolvers = {}
for _tag, _pattern, _first in (
    ("null", r"~|null|Null|NULL|", "~nN\0"),
    ("bool", r"true|True|TRUE|false|False|FALSE", "tTfF"),
    ("int", r"[-+]?[0-9]+", "-+0123456789"),
    ("float", r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", "-+.0123456789"),
):
    _Core.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}",
        re.compile(f"^(?:{_pattern})$"),
        [*_first.replace("\0", ""), ""],
    )


def _complaints(text: str) -> list[str]:
    return [error.message[:120] for error in VALIDATOR.iter_errors(yaml.load(text, Loader=_Core))]


def test_the_file_in_config_is_current() -> None:
    assert (CONFIG / json_schema.NAME).read_text(encoding="utf-8") == json_schema.text()


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", ["chillies", "basil", "all-keys"])
def test_the_examples_fit_the_schema(name: str) -> None:
    assert _complaints((CONFIG / f"{name}.yaml").read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "sections",
    [
        {"tent": "{name: 2, width: 2 ft 8 in, depth: 32in, height: 1600 mm, elevation: -3 m}"},
        {"lamp": "{power: 90W, photoperiod: {on: 6:00, off: 10:30 pm}}"},
        {"lamp": "{power: 90W, photoperiod: {on: 6am, off: 10 PM}}"},
        {"lamp": "{power: 90 W, photoperiod: {on: '06:00', off: 22:00:30}}"},
        {"fan": "{drive: pwm, pin: GPIO18, active_low: yes, ramp: 0}"},
        {"fan": "{pin: '18', active_low: 'off', curve: [[0, 1.2 in. w.g.], [9 cfm, 0]]}"},
        {"schedule": "none", "record": "", "energy": "{price: none}"},
        {"schedule": "{night_speed: 0, day_speed: 55.5%, pre_run: 1h30min, run_on: 0.5 h}"},
        {"targets": "{heat_warning: 80F, dew_point_margin: 2 deg F}"},
        {"energy": "{price: 0.31 eur / kwh}"},
        {"energy": "{price: '0.31 per kWh', currency: usd}"},
        {"duct": "{diameter: 4 in, length: 2 m, bends: '2', filter: none}"},
        {"overrides": "{vpd: {hysteresis: 1.5 hPa}, temperature: {hysteresis: 2 °F, delay: 90 s}}"},
    ],
)
def test_what_the_loader_takes_the_schema_takes(sections: dict[str, str]) -> None:
    text = good(**sections)
    load(text)
    assert _complaints(text) == []


@pytest.mark.parametrize(
    "sections",
    [
        {"tent": "{width: 80, depth: 80 cm, height: 160 cm}"},
        {"tent": "{width: 80 W, depth: 80 cm, height: 160 cm}"},
        {"tent": "{width: 80 cm, depth: 80 cm}"},
        {"fan": "{drive: realy, pin: 18}"},
        {"fan": "{drive: pwm, pin: 28}"},
        {"fan": "{drive: pwm, pin: 18, pinn: 19}"},
        {"lamp": "{power: 90 W, photoperiod: {on: 6, off: 22:00}}"},
        {"schedule": "{day_speed: 0.4}"},
        {"targets": "{day: {humidity: [40 %]}}"},
        {"sensors": "[]"},
        {"sensros": "[]"},
    ],
)
def test_the_schema_marks_common_mistakes(sections: dict[str, str]) -> None:
    text = good(**sections)
    with pytest.raises(ConfigError):
        load(text)
    assert _complaints(text) != []


@given(
    st.sampled_from(["pre_run", "run_on"]),
    st.from_regex(r"[0-9]{1,2}(\.[0-9])? ?(s|sec|min|minutes|h|hours)", fullmatch=True),
)
def test_durations_the_loader_takes_the_schema_takes(key: str, duration: str) -> None:
    text = good(schedule=f"{{{key}: {duration}}}")
    try:
        load(text)
    except ConfigError:
        return
    assert _complaints(text) == []


def _properties(schema: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [
        (f"{name}.{key}", entry)
        for name, definition in schema["$defs"].items()
        for key, entry in definition.get("properties", {}).items()
    ]


def test_every_key_says_what_it_is() -> None:
    assert [name for name, entry in _properties(SCHEMA) if not entry.get("description")] == []


def test_defaults_and_examples_are_written_as_people_write_them() -> None:
    for _, entry in _properties(SCHEMA):
        local = {"$defs": SCHEMA["$defs"], **entry}
        for value in [
            *entry.get("examples", ()),
            *([entry["default"]] if "default" in entry else ()),
        ]:
            jsonschema.Draft202012Validator(local).validate(value)
    durations = SCHEMA["$defs"]["Schedule"]["properties"]
    assert durations["pre_run"]["default"] == "15 min"
    assert SCHEMA["$defs"]["DayTargets"]["properties"]["temperature"]["default"] == [
        "70 °F",
        "75 °F",
    ]
    assert SCHEMA["$defs"]["RecordConfig"]["properties"]["keep"]["default"] == "2 years"


def _run(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    command.add(parser.add_subparsers())
    args = parser.parse_args(["schema", *arguments])
    status: int = args.run(args)
    return status


def test_the_command_prints_writes_and_checks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "schema.json"
    assert _run() == 0
    assert json.loads(capsys.readouterr().out) == SCHEMA
    with pytest.raises(UserError, match="No such file or directory"):
        _run("--check", str(path))
    assert _run("--write", str(path)) == 0
    assert _run("--check", str(path)) == 0
    path.write_text(path.read_text(encoding="utf-8") + " ", encoding="utf-8")
    with pytest.raises(UserError, match="is out of date; run `lungwort schema --write") as caught:
        _run("--check", str(path))
    assert caught.value.status == 1


def test_the_hint_line_of_the_examples_names_the_schema() -> None:
    examples = list(CONFIG.glob("*.yaml"))
    assert examples
    for path in examples:
        first = path.read_text(encoding="utf-8").splitlines()[0]
        assert first == f"# yaml-language-server: $schema={json_schema.NAME}"
