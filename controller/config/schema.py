"""The JSON Schema of the config, for editors that complete and check while one types."""

from __future__ import annotations

import dataclasses
import inspect
import json
from typing import Any, Literal, get_args, get_origin

from controller import units
from controller.config.lookup import KeyInfo, fields, markers, without_none
from controller.config.model import Settings
from controller.config.quantities import Band, PointOfCurve, QuantityRange
from controller.config.section import Section
from controller.config.written import as_written

NAME = "lungwort.schema.json"

Schema = dict[str, Any]

_NOTHING = {"$ref": "#/$defs/nothing"}
# The loader sees text only: it takes "2" for 2, and 2 for a tent's name.
_ANY_TEXT = ["string", "number", "boolean"]


def schema() -> Schema:
    """The schema as a dict."""
    definitions: Schema = {
        "nothing": {"title": "Not given", "enum": [None, "none", "None", "NONE"]}
    }
    root = _section(Settings, definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **root,
        "title": "Config of one tent",
        "description": "One file describes one tent; quantities carry their units.",
        "$defs": dict(sorted(definitions.items())),
    }


def text() -> str:
    """The schema as the file holds it."""
    made = json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"
    for gap in units.ODD_GAPS:  # which nobody could see
        made = made.replace(gap, f"\\u{ord(gap):04x}")
    return made


def _section(model: type[Section], definitions: Schema) -> Schema:
    """The schema of a section; those of its own sections and quantities go to the definitions."""
    known = fields(model)
    required = [key for key, info in known.items() if info.is_required]
    made = {
        "title": model.__name__,
        "description": inspect.getdoc(model),
        "type": "object",
        "properties": {key: _property(info, definitions) for key, info in known.items()},
        "additionalProperties": False,
    }
    return made | ({"required": required} if required else {})


def _property(info: KeyInfo, definitions: Schema) -> Schema:
    """The schema of a key; one that need not be given may have nothing behind it."""
    value = _value(info.annotation, info, definitions)
    about: Schema = {"description": info.description} if info.description else {}
    examples = info.metadata.get("examples", value.pop("examples", None))
    if examples:
        about["examples"] = examples
    if info.is_required:
        return about | value
    written = default(info)
    if written is not None:
        about |= {"default": written, "examples": [written]}
    return about | {"anyOf": [*(value.get("anyOf") or [value]), _NOTHING]}


def _value(annotation: Any, info: KeyInfo, definitions: Schema) -> Schema:
    """The schema of what an annotation takes."""
    kind = without_none(annotation)
    for mark in getattr(kind, "__metadata__", ()):
        if isinstance(mark, PointOfCurve):
            return _pair(get_args(kind.__origin__), info, definitions)
        if isinstance(mark, QuantityRange):
            definitions[mark.kind] = units.json_schema(mark.kind)
            return {"examples": [mark.example], "$ref": f"#/$defs/{mark.kind}"}
        return _of_any_text(dict(mark.json_schema))
    origin = get_origin(kind)
    if origin is Band:
        return _pair(get_args(kind) * 2, info, definitions)
    if origin is tuple:
        least, most = info.metadata["min_length"], info.metadata["max_length"]
        items = _value(get_args(kind)[0], info, definitions)
        return {"type": "array", "items": items, "minItems": least, "maxItems": most}
    if origin is Literal:
        return {"type": "string", "enum": list(get_args(kind))}
    if kind is int:
        low, high = info.metadata["ge"], info.metadata["le"]
        number = {"type": "integer", "minimum": low, "maximum": high}
        return {"anyOf": [number, {"type": "string", "pattern": "^[0-9]{1,5}$"}]}
    if kind is str:
        names = {"pattern": "pattern", "min_length": "minLength", "max_length": "maxLength"}
        bounds = {names[key]: value for key, value in info.metadata.items() if key in names}
        return _of_any_text({"type": "string", **bounds})
    if kind.__name__ not in definitions:
        definitions[kind.__name__] = _section(kind, definitions)
    return {"$ref": f"#/$defs/{kind.__name__}"}


def _pair(kinds: tuple[Any, ...], info: KeyInfo, definitions: Schema) -> Schema:
    items = [_value(kind, info, definitions) for kind in kinds]
    return {"type": "array", "prefixItems": items, "minItems": 2, "maxItems": 2}


def _of_any_text(value: Schema) -> Schema:
    """A text without a pattern of its own may look like something else to an editor."""
    if value.get("type") == "string" and "pattern" not in value:
        value["type"] = _ANY_TEXT
    return value


def default(info: KeyInfo) -> Any:
    """A field's default as one would write it; None where there is none of its own."""
    value = info.default
    if value is None or value is dataclasses.MISSING:
        return None
    quantity = next((mark for mark in markers(info) if isinstance(mark, QuantityRange)), None)
    if quantity is None:
        return value
    if isinstance(value, tuple):
        return [as_written(limit, quantity.kind) for limit in value]
    return as_written(value, quantity.kind)
