"""A tree against the model: settings, and everything the model objects to.

In the place of a value that is refused comes its default or, where it must be given, a stand-in, so
that the rest of the file is still checked and every problem told at once.
"""

from __future__ import annotations

import re
from typing import Any, Literal, NamedTuple, TypeVar, get_args, get_origin

from controller import units
from controller.config import crop_bands
from controller.config import messages as wording
from controller.config.lookup import KeyInfo, fields, stand_in, without_none
from controller.config.model import Settings
from controller.config.quantities import Band, PointOfCurve, RefusedError, describe
from controller.config.section import Section
from controller.config.yaml_tree import KeyPath, Mapping, YamlSource, plain

S = TypeVar("S", bound=Section)

_WHOLE_NUMBER = re.compile(r"\s*[+-]?[0-9]+(?:_[0-9]+)*(?:\.0*)?\s*", re.ASCII)
_ANY_LENGTH = 1 << 20


class Finding(NamedTuple):
    """A problem at a place of the tree, before it has a line.

    Attributes
    ----------
    path : tuple of str and int
        Keys and list indices, as the file writes them.
    message, expected : str
        What is wrong; what was expected.
    of_key : bool
        Whether the key itself is meant rather than its value.
    is_gap : bool
        Whether the file says nothing there.
    means : tuple, optional
        The path that an unknown key was probably meant to be.
    """

    path: KeyPath
    message: str
    expected: str
    of_key: bool = False
    is_gap: bool = False
    means: KeyPath | None = None


class Validated(NamedTuple):
    """What came of it.

    Attributes
    ----------
    settings : Settings
        Right when `findings` is empty; else with stand-ins at the `broken` paths.
    findings : tuple of Finding
        What the model objects to.
    broken : frozenset of paths
        Where `settings` does not say what the file says.
    """

    settings: Settings
    findings: tuple[Finding, ...]
    broken: frozenset[KeyPath]

    def is_sound(self, *paths: KeyPath) -> bool:
        """Whether the settings at and under these paths are the user's own."""
        return not any(
            bad[: len(path)] == path[: len(bad)] for bad in self.broken for path in paths
        )


def validate(source: YamlSource) -> Validated:
    """Hold a tree against the model."""
    reader = _TreeReader(source)
    settings = reader.section(Settings, plain_data(source), ())
    return Validated(settings, tuple(_without_echoes(reader.findings)), frozenset(reader.broken))


def plain_data(source: YamlSource) -> dict[str, Any]:
    """The tree as dicts, lists and texts, with the defaults that rest on how the file is written.

    Those are the units to show, the currency, and the bands of the crop.
    """
    data: dict[str, Any] = plain(source.root)
    place, energy = data.get("place"), data.get("energy")
    if (
        isinstance(place, dict)
        and place.get("units") is None
        and any(map(units.is_fahrenheit, source.scalars()))
    ):
        place["units"] = "us"
    if isinstance(energy, dict) and energy.get("currency") is None:
        energy["currency"] = wording.currency_of(energy.get("price"))
    crop_bands.fill_in(data)
    return data


def settings_from_plain(data: dict[str, Any]) -> Settings:
    """The settings of plain data in which nothing is wrong.

    Raises
    ------
    ValueError
        Where something is.
    """
    reader = _TreeReader(YamlSource("", Mapping(1, 1), []))
    settings = reader.section(Settings, data, ())
    if reader.findings:
        raise ValueError(reader.findings[0].message)
    return settings


def _without_echoes(findings: list[Finding]) -> list[Finding]:
    """Drop "`pin` is missing" where "no key `pni`; `pin`, perhaps" says it already."""
    meant = {finding.means for finding in findings if finding.means is not None}
    return [finding for finding in findings if not (finding.is_gap and finding.path in meant)]


class _ListRefusedError(RefusedError):
    """A list that cannot be used, for items that were refused."""

    def __init__(self) -> None:
        super().__init__("", "")


class _TreeReader:
    """Reads plain data into sections, and notes every objection.

    Attributes
    ----------
    findings : list of Finding
        What it objects to.
    broken : set of paths
        Where a default or a stand-in took the place of what the file says.
    """

    def __init__(self, source: YamlSource) -> None:
        self.findings: list[Finding] = []
        self.broken: set[KeyPath] = set()
        self._source = source

    def section(self, model: type[S], data: dict[str, Any], path: KeyPath) -> S:
        """Read a mapping; a key without a value counts as not given."""
        known = fields(model)
        for key in data.keys() - known.keys():
            self._unknown_key((*path, key))
        values: dict[str, Any] = {}
        for key, info in known.items():
            here = (*path, key)
            if data.get(key) is not None:
                try:
                    values[info.name] = self._value(info.annotation, info, data[key], here)
                    continue
                except RefusedError as error:
                    self._refused(here, error)
            if info.is_required:
                self._missing(here)
                values[info.name] = self._value(info.annotation, info, stand_in(info), here)
        return model(**values)

    def _value(self, annotation: Any, info: KeyInfo, value: Any, path: KeyPath) -> Any:
        """Read what a key takes, or raise `RefusedError`."""
        kind = without_none(annotation)
        for mark in getattr(kind, "__metadata__", ()):
            if not isinstance(mark, PointOfCurve):
                return mark.read(value)
            mark.check(value)
            return self._items(get_args(kind.__origin__), info, value, path)
        origin = get_origin(kind)
        if origin is Band:
            Band.check(value)
            return Band(*self._items(get_args(kind) * 2, info, value, path))
        if origin is tuple:
            return self._list(get_args(kind)[0], info, value, path)
        if origin is Literal:
            return _option(info, get_args(kind), value)
        if kind is int:
            return _whole_number(info, value)
        if kind is str:
            return _word(info, value, path)
        if not isinstance(value, dict):
            keys = wording.one_of(fields(kind))
            raise RefusedError(f"{describe(value)} is not a section", f"keys under it: {keys}")
        return self.section(kind, value, path)

    def _list(self, kind: Any, info: KeyInfo, value: Any, path: KeyPath) -> tuple[Any, ...]:
        """Read a list of any length within the bounds of its key, or raise `RefusedError`."""
        if not isinstance(value, list):
            expected = "items behind dashes, or [in, brackets]"
            raise RefusedError(f"{describe(value)} is not a list", expected)
        items = self._items((kind,) * len(value), info, value, path)
        least, most = info.metadata["min_length"], info.metadata["max_length"]
        if len(items) < least:
            raise RefusedError("the list is too short", f"at least {least}")
        if len(items) > most:
            raise RefusedError("the list is too long", f"at most {most}")
        return items

    def _items(
        self, kinds: tuple[Any, ...], info: KeyInfo, values: list[Any], path: KeyPath
    ) -> tuple[Any, ...]:
        """Read the items of a list, or raise `RefusedError` once every objection is noted.

        A section among them is replaced by a stand-in; anything else takes its list with it.
        """
        items, is_sound = [], True
        for number, (kind, value) in enumerate(zip(kinds, values, strict=True)):
            here = (*path, number)
            try:
                items.append(self._value(kind, info, value, here))
            except RefusedError as error:
                self._refused(here, error)
                if isinstance(kind, type) and issubclass(kind, Section):
                    items.append(self.section(kind, {}, here))
                else:
                    is_sound = False
        if not is_sound:
            raise _ListRefusedError
        return tuple(items)

    def _refused(self, path: KeyPath, error: RefusedError) -> None:
        if isinstance(error, _ListRefusedError):
            return  # its items are told already
        self._object(Finding(path, f"`{wording.dotted(path)}`: {error.wrong}", error.expected))

    def _missing(self, path: KeyPath) -> None:
        without = "has no value" if self._source.find(path) is not None else "is missing"
        message = f"`{wording.dotted(path)}` {without}"
        self._object(Finding(path, message, wording.what_goes_at(path), of_key=True, is_gap=True))

    def _unknown_key(self, path: KeyPath) -> None:
        message, expected = wording.unknown_key(path)
        near = wording.suggestion(path)
        means = (*path[:-1], near) if near is not None else None
        if means is not None and self._source.find(means) is None:
            self.broken.add(means)  # or it would be missed once more
        self.findings.append(Finding(path, message, expected, of_key=True, means=means))

    def _object(self, finding: Finding) -> None:
        path = finding.path
        if not any(path[: len(bad)] == bad for bad in self.broken):
            self.findings.append(finding)
            self.broken.add(path)


def _option(info: KeyInfo, options: tuple[str, ...], value: Any) -> str:
    """One of several words."""
    if isinstance(value, str) and value in options:
        return value
    meant = info.metadata.get("meant", {}).get(str(value).lower())
    if meant is not None:
        raise RefusedError(f"{describe(value)} is unknown", meant)
    near = wording.nearest(value, options) if isinstance(value, str) else None
    expected = wording.one_of(options) + (f" (perhaps {near})" if near else "")
    raise RefusedError(f"{describe(value)} is unknown", expected)


def _whole_number(info: KeyInfo, value: Any) -> int:
    low, high = info.metadata["ge"], info.metadata["le"]
    expected = f"a whole number from {low} to {high}"
    if not isinstance(value, str) or not _WHOLE_NUMBER.fullmatch(value):
        raise RefusedError(f"{describe(value)} is not a whole number", expected)
    number = float(value.replace("_", ""))  # of any length, as `int` would not take it
    if not low <= number <= high:
        raise RefusedError(f"{describe(value)} is out of range", expected)
    return int(number)


def _word(info: KeyInfo, value: Any, path: KeyPath) -> str:
    """A text within the bounds of its key."""
    least, most = info.metadata.get("min_length", 0), info.metadata.get("max_length", _ANY_LENGTH)
    pattern = info.metadata.get("pattern", r"[\s\S]*")
    if isinstance(value, str) and least <= len(value) <= most and re.fullmatch(pattern, value):
        return value
    raise RefusedError(f"{describe(value)} will not do", wording.what_goes_at(path))
