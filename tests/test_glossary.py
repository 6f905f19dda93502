"""One idea, one name: what a user meets holds no retired word, and the glossary has the rest.

The glossary is that of DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.__main__ import COMMANDS, build_parser
from controller.review.views import json_schema

ROOT = Path(__file__).parent.parent
SOURCES = sorted(
    path for top in ("controller", "simulators") for path in (ROOT / top).rglob("*.py")
)
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")

RETIRED = {
    *("lead", "leads", "lag", "lags", "window", "windows", "flush", "flushes", "flushed"),
    *("deadband", "withheld", "withhold", "withholds", "ruling", "ruled", "weigh", "weighs"),
    *("reckon", "reckoned", "helpless", "damp", "dampness", "spell", "spells", "told"),
    *("situation", "tally", "standstill", "burning", "bore"),
}
# A word in its other, plain sense.
ALLOWED = {
    ("help", "flushed"): "of a file: written to the disk",
}


def words(text: str) -> set[str]:
    return set(re.findall(r"[a-z]+", text.lower().replace("_", " ")))


def retired(texts: set[str], kind: str = "") -> set[str]:
    return {
        text for text in texts if any((kind, word) not in ALLOWED for word in words(text) & RETIRED)
    }


def glossary() -> set[str]:
    """The glossary's words; of "pre-run, run-on" and "reading / measurement" each."""
    section = GUIDE.partition("\n## Glossary\n")[2].partition("\n## ")[0]
    entries = re.findall(r"^\| ([^|]+) \| [^|]+ \|$", section, flags=re.MULTILINE)
    return {word.strip() for entry in entries for word in re.split(r",|/", entry)}


def strings(node: ast.AST) -> Iterator[str]:
    for inner in ast.walk(node):
        if isinstance(inner, ast.Constant) and isinstance(inner.value, str):
            yield inner.value


def event_names() -> set[str]:
    """Dotted names handed to whatever records or makes an event, and those that have words."""
    makers = {
        "Event",
        "event",
        "_event",
        "_tell",
        "_say",
        "AlarmChange",
        "SensorTransition",
        "append",
    }
    makers = {"Event", "event", "_event", "_tell", "_say", "append"}
    makers |= {"AlarmChange", "SensorTransition"}
    found: set[str] = set()
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "attr", getattr(node.func, "id", ""))
                if name in makers:
                    found |= {text for argument in node.args[:2] for text in strings(argument)}
    worded = ast.parse((ROOT / "controller/wording/events.py").read_text("utf-8"))
    for node in ast.walk(worded):
        if isinstance(node, ast.Dict):
            found |= {text for key in node.keys if key is not None for text in strings(key)}
    return {text for text in found if re.fullmatch(r"[a-z][a-z_]*\.[a-z][a-z_]*", text)}


def schema_keys(node: Any) -> Iterator[str]:
    """Names of properties anywhere in a JSON Schema."""
    if isinstance(node, dict):
        properties = node.get("properties")
        if isinstance(properties, dict):
            yield from properties
        for value in node.values():
            yield from schema_keys(value)
    elif isinstance(node, list):
        for value in node:
            yield from schema_keys(value)


def config_schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((ROOT / "config/lungwort.schema.json").read_text("utf-8"))
    return loaded


def columns() -> set[str]:
    found: set[str] = set()
    for path in (ROOT / "controller/record").glob("schema_*.sql"):
        text = re.sub(r"--.*", "", path.read_text("utf-8"))
        found |= set(re.findall(r"CREATE (?:TABLE|INDEX) (\w+)", text))
        found |= set(re.findall(r"^\s+(\w+) (?:INTEGER|REAL|TEXT)", text, flags=re.MULTILINE))
    return found


def parsers(parser: argparse.ArgumentParser) -> Iterator[argparse.ArgumentParser]:
    yield parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for child in action.choices.values():
                yield from parsers(child)


def headings() -> set[str]:
    """Headings of pages and tables: what stands in h1 to h3, th and title of any source."""
    found: set[str] = set()
    for path in SOURCES:
        text = path.read_text("utf-8")
        found |= set(re.findall(r"<(?:h[1-3]|th|title|caption)[^>]*>([^<>{]+)<", text))
        if "/views/" in str(path):
            found |= set(re.findall(r'(?:heading|title|section)\(\s*"([^"]+)"', text))
    return found


def test_no_key_of_the_config_is_a_retired_word() -> None:
    keys = set(schema_keys(config_schema()))
    assert {"pre_run", "run_on", "hysteresis"} <= keys
    assert not retired(keys)


def test_no_event_is_a_retired_word_and_each_begins_with_one_of_the_glossary() -> None:
    names = event_names()
    assert {"fan_hours.began", "override.locked_out", "quiet.began", "day.summarised"} <= names
    assert not retired(names)
    known = {word.replace(" ", "_").replace("-", "_") for word in glossary()}
    sections = set(config_schema()["properties"])
    explained = known | sections | {"alarm", "job", "timezone"}
    assert {name.partition(".")[0] for name in names} - explained == set()


def test_sections_of_the_config_are_in_its_reference() -> None:
    sections = set(config_schema()["properties"])
    reference = (ROOT / "config/all-keys.yaml").read_text("utf-8")
    shown = set(re.findall(r"^(?:#:? )?([a-z]+):", reference, flags=re.MULTILINE))
    assert sections - shown == set()


def test_no_column_of_the_record_is_a_retired_word() -> None:
    assert {"in_fan_hours", "locked_out", "sensor_readings"} <= columns()
    assert not retired(columns())


def test_no_key_of_the_reviews_json_is_a_retired_word() -> None:
    keys = set(schema_keys(json_schema.schema()))
    assert len(keys) > 50
    assert not retired(keys, "review")


@pytest.mark.parametrize("command", COMMANDS)
def test_no_name_option_or_help_of_a_command_has_a_retired_word(command: str) -> None:
    texts: set[str] = {command}
    for parser in parsers(build_parser([command])):
        texts |= {parser.description or "", parser.epilog or ""}
        for action in parser._actions:
            texts |= {*action.option_strings, str(action.help or ""), str(action.metavar or "")}
    lines = {line for text in texts for line in text.splitlines()}
    assert not retired(lines, "help")


def test_no_heading_has_a_retired_word() -> None:
    assert len(headings()) > 3
    assert not retired(headings())


def test_the_glossary_itself_names_no_retired_word() -> None:
    assert len(glossary()) > 30
    assert not retired(glossary())
    assert {"pre-run", "run-on", "fan hours", "purge", "hysteresis", "locked out"} <= glossary()
    assert {"excursion", "segment", "override", "compare", "expected rise"} <= glossary()


def test_a_retired_word_is_noticed() -> None:
    assert retired({"fan_window", "lag_s", "windows shut", "lagging"}) == {
        "fan_window", "lag_s", "windows shut",
    }  # fmt: skip
