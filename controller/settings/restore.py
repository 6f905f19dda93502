"""Settings as JSON in SI and back, without parsing anything: they were found right before."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from controller.settings import Loaded
from controller.settings.model import Settings
from controller.settings.problems import Problem
from controller.settings.quantities import Band
from controller.settings.section import Section

S = TypeVar("S", bound=Section)

_HINTS: dict[type[Section], dict[str, Any]] = {}


def loaded_as_json(loaded: Loaded) -> str:
    """A config that can be used, on one line."""
    from controller.settings.validate import adapter

    return json.dumps(
        {
            "settings": adapter().dump_python(loaded.settings, mode="json"),
            "warnings": [list(problem) for problem in loaded.warnings],
            "text": loaded.text,
            "sha256": loaded.sha256,
        }
    )


def loaded_from_json(text: str) -> Loaded:
    """The other way.

    Raises
    ------
    TypeError, ValueError, KeyError
        If it is something else.
    """
    data = json.loads(text)
    settings = restored(Settings, data["settings"])
    warnings = tuple(Problem(*row) for row in data["warnings"])
    return Loaded(settings, warnings, data["text"], data["sha256"])


def restored(section: type[S], data: Mapping[str, Any]) -> S:
    """Give the section that pydantic dumped as JSON.

    Parameters
    ----------
    section : type
        Of which kind.
    data : Mapping
        Values by the names of the fields, in SI; taken to be right.

    Raises
    ------
    TypeError, ValueError, KeyError
        Where that cannot be.
    """
    hints = _HINTS.get(section)
    if hints is None:
        hints = _HINTS[section] = get_type_hints(section)
    return section(**{name: _value(hints[name], item) for name, item in data.items()})


def _value(kind: Any, item: Any) -> Any:
    if item is None:
        return None
    options = [option for option in get_args(kind) if option is not type(None)]
    if type(None) in get_args(kind):
        (kind,) = options  # it may be left out, else there is one thing that it can be
        options = list(get_args(kind))
    origin = get_origin(kind)
    if origin is Band:
        return Band(*item)
    if origin is tuple:
        if Ellipsis in options:
            return tuple(_value(options[0], one) for one in item)
        return tuple(item)
    if not isinstance(kind, type):
        return item  # one of several words
    if issubclass(kind, Section):
        return restored(kind, item)
    if issubclass(kind, datetime.time):
        return datetime.time.fromisoformat(item)
    return Path(item) if issubclass(kind, Path) else item
