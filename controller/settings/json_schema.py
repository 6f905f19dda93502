"""The JSON Schema of the config, for editors that complete and check while one types."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from controller import units
from controller.settings.lookup import KeyInfo, bare, fields, markers
from controller.settings.model import Settings
from controller.settings.quantities import Quantity
from controller.settings.section import Section
from controller.settings.validate import adapter
from controller.settings.written import as_written

NAME = "lungwort.schema.json"

_NOTHING = {"$ref": "#/$defs/nothing"}


class _Generator(GenerateJsonSchema):
    """Leaves the SI defaults out; they come in as people write them."""

    def default_schema(self, schema: Any) -> Any:
        """The schema under the default."""
        return self.generate_inner(schema["schema"])


def schema() -> dict[str, Any]:
    """The schema as a dict."""
    made = adapter().json_schema(schema_generator=_Generator, mode="validation")
    definitions = made.pop("$defs")
    for name, definition in definitions.items():
        _complete(definition, _model(name))
    _complete(made, Settings)
    kinds: dict[str, Any] = {
        "nothing": {"title": "Not given", "enum": [None, "none", "None", "NONE"]}
    }
    _share(definitions, kinds)
    definitions |= kinds
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Config of one tent",
        "description": "One file describes one tent; quantities carry their units.",
        **{key: value for key, value in made.items() if key not in ("title", "description")},
        "$defs": dict(sorted(definitions.items())),
    }


def text() -> str:
    """The schema as the file holds it."""
    made = json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"
    for gap in units.ODD_GAPS:  # which nobody could see
        made = made.replace(gap, f"\\u{ord(gap):04x}")
    return made


def _complete(definition: dict[str, Any], model: type[Section]) -> None:
    """Add what pydantic does not know: defaults with units, and that keys may stay empty."""
    for key, info in fields(model).items():
        entry = definition["properties"][key]
        entry.pop("title", None)
        if info.description:  # pydantic drops one that repeats the section's own
            entry["description"] = info.description
        _widen(entry)
        if info.is_required:
            continue
        _allow_nothing(entry)
        written = default(info)
        if written is not None:
            entry["default"] = written
            entry["examples"] = [written]


def _widen(entry: dict[str, Any]) -> None:
    """The loader sees text only: it takes "2" for 2, and 2 for a tent's name."""
    for option in [entry, *entry.get("anyOf", ())]:
        if option.get("type") == "integer" and "anyOf" not in entry:
            bounds = {key: option.pop(key) for key in ("type", "minimum", "maximum")}
            entry["anyOf"] = [bounds, {"type": "string", "pattern": "^[0-9]{1,5}$"}]
        elif option.get("type") == "string" and not {"pattern", "enum", "$ref"} & option.keys():
            option["type"] = ["string", "number", "boolean"]


def _share(node: Any, definitions: dict[str, Any]) -> None:
    """Replace each quantity by a reference to one definition of its kind."""
    if isinstance(node, list):
        for item in node:
            _share(item, definitions)
    elif isinstance(node, dict):
        kind = node.get("kind")
        if isinstance(kind, str):
            del node["kind"]
            definitions[kind] = units.json_schema(kind)
            node["$ref"] = f"#/$defs/{kind}"
        for value in node.values():
            _share(value, definitions)


def _allow_nothing(entry: dict[str, Any]) -> None:
    """A key with nothing behind it counts as not given."""
    outer: dict[str, Any] = {
        key: entry.pop(key) for key in ("description", "examples") if key in entry
    }
    options = entry.pop("anyOf", None) or [dict(entry)]
    entry.clear()
    options = [option for option in options if option != {"type": "null"}]
    for option in options:
        if "examples" in option:
            outer.setdefault("examples", option.pop("examples"))
    entry.update(outer, anyOf=[*options, _NOTHING])


def default(info: KeyInfo) -> Any:
    """A field's default as one would write it; None where there is none of its own."""
    value = info.default
    if value is None or value is dataclasses.MISSING:
        return None
    quantity = next((mark for mark in markers(info) if isinstance(mark, Quantity)), None)
    if quantity is None:
        return value
    if isinstance(value, tuple):
        return [as_written(limit, quantity.kind) for limit in value]
    return as_written(value, quantity.kind)


def _model(name: str) -> type[Section]:
    stack: list[type[Section]] = [Settings]
    while stack:
        model = stack.pop()
        if model.__name__ == name:
            return model
        for info in fields(model).values():
            inner = bare(info.annotation)
            if isinstance(inner, type) and issubclass(inner, Section):
                stack.append(inner)
    raise LookupError(name)
