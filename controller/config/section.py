"""What a section of the config is: a frozen record whose fields know how the file writes them.

Sections are dataclasses of the standard library: who has settings in hand, such as the daemon,
needs no parser. `controller.config.validate` holds a file's tree against them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Self, dataclass_transform


def key(
    *,
    written: str | None = None,
    description: str | None = None,
    examples: Sequence[object] | None = None,
    default: Any = dataclasses.MISSING,
    default_factory: Callable[[], Any] | Any = dataclasses.MISSING,
    ge: int | None = None,
    le: int | None = None,
    min_length: int | None = None,
    max_length: int | None = None,
    pattern: str | None = None,
    reopens: bool | None = None,
    meant: Mapping[str, str] | None = None,
) -> Any:
    """Describe one key of a section.

    Parameters
    ----------
    written : str, optional
        Its name in the file, where that is not the field's.
    description : str, optional
        For editors and messages.
    examples : sequence, optional
        What one could write.
    default, default_factory
        Its value where the file has none; without either it must be given.
    ge, le, min_length, max_length, pattern
        Bounds of a number, a text or a list, and what a text must match.
    reopens : bool, optional
        Whether a running daemon must close and open its sensors, outputs and record again when
        the value changes.
    meant : mapping, optional
        What to write instead of a word that people take for one of the options.
    """
    metadata = {
        "written": written,
        "description": description,
        "examples": None if examples is None else list(examples),
        "ge": ge,
        "le": le,
        "min_length": min_length,
        "max_length": max_length,
        "pattern": pattern,
        "reopens": reopens,
        "meant": meant,
    }
    return dataclasses.field(
        default=default,
        default_factory=default_factory,
        metadata={name: value for name, value in metadata.items() if value is not None},
    )


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(key,))
class Section:
    """One mapping of the config: frozen, and no key but the known ones."""

    def __init_subclass__(cls) -> None:
        # The methods of this class do for all: made for each of thirty sections they would cost
        # every command a fiftieth of a second.
        dataclasses.dataclass(init=False, repr=False, eq=False)(cls)

    def __init__(self, **values: Any) -> None:
        """Take values in SI, by the fields' names; they are not checked."""
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            if field.name in values:
                value = values.pop(field.name)
            elif field.default is not dataclasses.MISSING:
                value = field.default
            elif field.default_factory is not dataclasses.MISSING:
                value = field.default_factory()
            else:
                raise TypeError(f"{type(self).__name__} needs {field.name!r}")
            self.__dict__[field.name] = value
        if values:
            raise TypeError(f"{type(self).__name__} has no {', '.join(map(repr, values))}")

    def changed(self, **values: Any) -> Self:
        """Give a copy with other values, in SI; they are not checked."""
        return type(self)(**{**self.__dict__, **values})

    def __setattr__(self, name: str, value: object) -> None:
        raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")

    def __delattr__(self, name: str) -> None:
        raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return self.__dict__ == other.__dict__

    def __hash__(self) -> int:
        return hash((type(self), *self.__dict__.values()))

    def __repr__(self) -> str:
        shown = ", ".join(f"{name}={value!r}" for name, value in self.__dict__.items())
        return f"{type(self).__name__}({shown})"


def reopening_values(section: Section) -> list[object]:
    """The values at every key that is declared with `reopens`, in the sections below too."""
    values: list[object] = []
    for field in dataclasses.fields(section):  # type: ignore[arg-type]
        value = getattr(section, field.name)
        if field.metadata.get("reopens"):
            values.append(value)
        elif isinstance(value, Section):
            values += reopening_values(value)
    return values
