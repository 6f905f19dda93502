"""Walks the model by the file's keys: which field is at a path, and a value it would take."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, Literal, NamedTuple, get_args, get_origin, get_type_hints

from controller.config.model import Settings
from controller.config.quantities import QuantityRange, Text
from controller.config.section import Section
from controller.config.yaml_tree import KeyPath


class KeyInfo(NamedTuple):
    """What is known of one key of a section.

    Attributes
    ----------
    name : str
        The field's.
    annotation : type
        What it takes, markers included.
    metadata : Mapping
        As `controller.config.section.key` was given it.
    default : object
        `dataclasses.MISSING` where there is none of its own.
    is_required : bool
        Whether it must be given.
    """

    name: str
    annotation: Any
    metadata: Mapping[str, Any]
    default: Any
    is_required: bool

    @property
    def description(self) -> str:
        """For editors and messages; may be empty."""
        return str(self.metadata.get("description", ""))


_FIELDS: dict[type[Section], dict[str, KeyInfo]] = {}


def fields(model: type[Section]) -> dict[str, KeyInfo]:
    """The keys of a section, as the file writes them."""
    known = _FIELDS.get(model)
    if known is None:
        known = _FIELDS[model] = _fields(model)
    return known


def _fields(model: type[Section]) -> dict[str, KeyInfo]:
    hints = get_type_hints(model, include_extras=True)
    missing = dataclasses.MISSING
    return {
        field.metadata.get("written", field.name): KeyInfo(
            field.name,
            hints[field.name],
            field.metadata,
            field.default,
            field.default is missing and field.default_factory is missing,
        )
        for field in dataclasses.fields(model)  # type: ignore[arg-type]
    }


def without_none(annotation: Any) -> Any:
    """X of `X | None`, and anything else as it is."""
    options = get_args(annotation)
    if type(None) not in options:
        return annotation
    (option,) = (option for option in options if option is not type(None))
    return option


def bare(annotation: Any) -> Any:
    """An annotation without `| None`, `Annotated` and `tuple[..., ...]` around it."""
    while True:
        annotation = without_none(annotation)
        if get_origin(annotation) is tuple and Ellipsis in get_args(annotation):
            annotation = get_args(annotation)[0]
        elif hasattr(annotation, "__metadata__"):
            annotation = annotation.__origin__
        else:
            return annotation


def markers(info: KeyInfo) -> Iterator[Any]:
    """The annotations of a field, those inside `| None` included."""
    stack = [info.annotation]
    while stack:
        annotation = stack.pop()
        yield from getattr(annotation, "__metadata__", ())
        stack.extend(arg for arg in get_args(annotation) if not isinstance(arg, str))


def section_at(path: KeyPath) -> type[Section] | None:
    """The section a path names, list indices passed over."""
    model: type[Section] = Settings
    for key in path:
        if isinstance(key, int):
            continue
        info = fields(model).get(key)
        inner = bare(info.annotation) if info is not None else None
        if not (isinstance(inner, type) and issubclass(inner, Section)):
            return None
        model = inner
    return model


def field_at(path: KeyPath) -> KeyInfo | None:
    """The field a path names."""
    keys = [key for key in path if isinstance(key, str)]
    if not keys:
        return None
    model = section_at(tuple(keys[:-1]))
    return fields(model).get(keys[-1]) if model is not None else None


def is_default_at(path: KeyPath) -> bool:
    """Whether a path names a value that has a default, and no section."""
    info = field_at(path)
    return info is not None and not info.is_required and section_at(path) is None


def example(info: KeyInfo) -> str:
    """A value the field takes, as one would write it; "" for a section."""
    examples = info.metadata.get("examples")
    if examples:
        return str(examples[0])
    for marker in markers(info):
        if isinstance(marker, QuantityRange):
            return marker.example
        if isinstance(marker, Text):
            return str(marker.json_schema["examples"][0])
    inner = bare(info.annotation)
    if get_origin(inner) is Literal:
        return str(get_args(inner)[0])
    return "1" if inner is int else ""


def stand_in(info: KeyInfo) -> Any:
    """What a field takes, as a file has it, where one must be given and none usable was."""
    inner = bare(info.annotation)
    if isinstance(inner, type) and issubclass(inner, Section):
        return [{}] if get_origin(info.annotation) is tuple else {}
    return example(info)
