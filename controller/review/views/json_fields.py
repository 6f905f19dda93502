"""Fields of a JSON document: each with its schema and where its value comes from.

A layout is a tuple of fields. `values` makes the document of it and `properties` its JSON Schema,
so that the two can't disagree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

from controller.review.report import Review

Json = dict[str, Any]

# The value of a field, out of the review and the item that the field describes.
Getter = Callable[[Review, Any], Any]


class Field(NamedTuple):
    """One key of an object."""

    key: str
    schema: Json
    get: Getter


Layout = Sequence[Field]


def values(layout: Layout, review: Review, item: object) -> Json:
    """The item as a JSON object."""
    return {field.key: field.get(review, item) for field in layout}


def object_schema(layout: Layout, description: str = "", *, null: bool = False) -> Json:
    """The JSON Schema of an object with exactly these fields."""
    schema: Json = {
        "type": ["object", "null"] if null else "object",
        "properties": {field.key: field.schema for field in layout},
        "required": [field.key for field in layout],
        "additionalProperties": False,
    }
    return {**schema, "description": description} if description else schema


def number(
    key: str,
    description: str,
    get: Getter,
    digits: int | None = None,
    *,
    null: bool = False,
    least: float | None = None,
) -> Field:
    """A number, rounded to so many digits and never a negative zero; None: as it is."""
    schema: Json = {"type": ["number", "null"] if null else "number", "description": description}
    if least is not None:
        schema["minimum"] = least
    if digits is None:
        return Field(key, schema, get)

    def rounded(review: Review, item: object) -> float | None:
        value = get(review, item)
        return None if value is None else round(value, digits) + 0.0

    return Field(key, schema, rounded)


def count(key: str, description: str, get: Getter) -> Field:
    """A whole number from 0 on."""
    return Field(key, {"type": "integer", "minimum": 0, "description": description}, get)


def text(key: str, description: str, get: Getter) -> Field:
    """A text."""
    return Field(key, {"type": "string", "description": description}, get)


def flag(key: str, description: str, get: Getter) -> Field:
    """A boolean."""
    schema: Json = {"type": "boolean", "description": description}
    return Field(key, schema if description else {"type": "boolean"}, get)


def choice(key: str, choices: Iterable[str], get: Getter, description: str = "") -> Field:
    """One of a few words."""
    schema: Json = {"enum": list(choices)}
    return Field(key, {**schema, "description": description} if description else schema, get)


def date(key: str, get: Getter, description: str = "") -> Field:
    """A `datetime.date`."""
    schema: Json = {"type": "string", "format": "date"}
    if description:
        schema["description"] = description
    return Field(key, schema, lambda review, item: get(review, item).isoformat())


def time_schema(description: str, *, null: bool = False) -> Json:
    """The JSON Schema of an instant."""
    return {
        "type": ["string", "null"] if null else "string",
        "description": f"{description} (RFC 3339 with the tent's offset)",
        "format": "date-time",
    }


def time(key: str, description: str, get: Getter, *, null: bool = False) -> Field:
    """An instant, from one in Unix ms."""

    def local(review: Review, item: object) -> str | None:
        at_ms = get(review, item)
        return None if at_ms is None else review.period.rfc3339(at_ms)

    return Field(key, time_schema(description, null=null), local)


def times(key: str, description: str, each: str, get: Getter) -> Field:
    """A list of instants, from those in Unix ms."""
    schema = {"type": "array", "items": time_schema(each), "description": description}
    return Field(
        key, schema, lambda review, item: [review.period.rfc3339(at) for at in get(review, item)]
    )


def texts(key: str, description: str, get: Getter) -> Field:
    """A list of sentences."""
    sentence: Json = {"type": "string", "description": "A sentence."}
    return Field(key, {"type": "array", "items": sentence, "description": description}, get)


def numbers_by_name(key: str, kind: str, get: Getter, description: str = "") -> Field:
    """An object of numbers under names that the layout doesn't know: "integer" or "number"."""
    schema: Json = {"type": "object", "additionalProperties": {"type": kind}}
    return Field(key, {**schema, "description": description} if description else schema, get)


def nested(
    key: str, layout: Layout, get: Getter, description: str = "", *, null: bool = False
) -> Field:
    """An object in the object; null where there is none, if `null`."""

    def inner(review: Review, item: object) -> Json | None:
        value = get(review, item)
        return None if value is None else values(layout, review, value)

    return Field(key, object_schema(layout, description, null=null), inner)


def objects(key: str, layout: Layout, get: Getter, description: str) -> Field:
    """A list of objects."""
    schema = {"type": "array", "items": object_schema(layout), "description": description}
    return Field(
        key,
        schema,
        lambda review, item: [values(layout, review, value) for value in get(review, item)],
    )


def spread(layout: Layout, get: Callable[[Any], Any]) -> Iterable[Field]:
    """The fields of a part of the item, as fields of the item itself."""

    def part(field: Field) -> Field:
        return field._replace(get=lambda review, item: field.get(review, get(item)))

    return [part(field) for field in layout]
