"""A tree against the model: settings, and everything the model objects to.

A value that is refused is taken out (or, where it must be given, replaced by a stand-in) and the
model asked again, so that the rest of the file is still checked and every problem told at once.
"""

from __future__ import annotations

import functools
import re
from typing import Any, NamedTuple

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from controller.settings import wording
from controller.settings.lookup import field_at, stand_in
from controller.settings.model import Settings
from controller.settings.source import Key, Mapping, Node, Scalar, Sequence, Source

Path = tuple[Key, ...]

_MAX_ROUNDS = 50
_FAHRENHEIT = re.compile(r"[0-9]\s*(?:[°º]\s*|deg\s*)?(?:F|℉|fahrenheit)\s*", re.IGNORECASE)


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

    path: Path
    message: str
    expected: str
    of_key: bool = False
    is_gap: bool = False
    means: Path | None = None


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
    broken: frozenset[Path]

    def is_sound(self, *paths: Path) -> bool:
        """Whether the settings at and under these paths are the user's own."""
        return not any(
            bad[: len(path)] == path[: len(bad)] for bad in self.broken for path in paths
        )


@functools.cache
def adapter() -> TypeAdapter[Settings]:
    """What pydantic makes of the settings' sections."""
    return TypeAdapter(Settings)


def validate(source: Source) -> Validated:
    """Hold a tree against the model."""
    data = plain(source.root)
    _fill_in(data, source)
    findings: list[Finding] = []
    broken: set[Path] = set()
    for _ in range(_MAX_ROUNDS):
        try:
            settings = adapter().validate_python(data, by_alias=True, by_name=False)
        except ValidationError as error:
            for details in _told_once(error.errors(include_url=False)):
                path = _path(details)
                if not any(path[: len(bad)] == bad for bad in broken):
                    findings.append(_finding(details, path, source))
                    if details["type"] != "unexpected_keyword_argument":
                        broken.add(path)
                _mend(data, path, details["type"])
        else:
            return Validated(settings, tuple(_without_echoes(findings)), frozenset(broken))
    raise AssertionError("mending the config does not converge")  # pragma: no cover


def _without_echoes(findings: list[Finding]) -> list[Finding]:
    """Drop "`pin` is missing" where "no key `pni`; `pin`, perhaps" says it already."""
    meant = {finding.means for finding in findings if finding.means is not None}
    return [finding for finding in findings if not (finding.is_gap and finding.path in meant)]


def plain(node: Node, path: Path = ()) -> Any:
    """The tree as dicts, lists and texts; known keys without a value are left out."""
    if isinstance(node, Mapping):
        return {
            key: plain(value, (*path, key))
            for key, (_, value) in node.entries.items()
            if not (isinstance(value, Scalar) and value.text is None and field_at((*path, key)))
        }
    if isinstance(node, Sequence):
        return [plain(item, path) for item in node.items]
    assert isinstance(node, Scalar)
    return node.text


def _fill_in(data: dict[str, Any], source: Source) -> None:
    """Defaults that depend on how the file writes things: display units, currency."""
    place, energy = data.get("place"), data.get("energy")
    if (
        isinstance(place, dict)
        and "units" not in place
        and any(_FAHRENHEIT.search(text) for text in source.scalars())
    ):
        place["units"] = "us"
    if isinstance(energy, dict) and "currency" not in energy:
        currency = wording.currency_of(energy.get("price"))
        if currency:
            energy["currency"] = currency


def _path(details: ErrorDetails) -> Path:
    return tuple(details["loc"])


def _told_once(errors: list[ErrorDetails]) -> list[ErrorDetails]:
    """Without the lists that are too short only because an item of theirs was refused."""
    paths = [_path(details) for details in errors]
    return [
        details
        for details, path in zip(errors, paths, strict=True)
        if details["type"] != "too_short"
        or not any(len(other) > len(path) and other[: len(path)] == path for other in paths)
    ]


def _finding(details: ErrorDetails, path: Path, source: Source) -> Finding:
    kind = details["type"]
    if kind == "missing":
        if source.find(path) is not None:
            message = f"`{wording.dotted(path)}` has no value"
        else:
            message = f"`{wording.dotted(path)}` is missing"
        expected = wording.what_goes_at(path)
        return Finding(path, message, expected, of_key=True, is_gap=True)
    if kind == "unexpected_keyword_argument":
        message, expected = wording.unknown_key(path)
        near = wording.suggestion(path)
        means = (*path[:-1], near) if near is not None else None
        return Finding(path, message, expected, of_key=True, means=means)
    wrong, expected = wording.objection(details, path)
    return Finding(path, f"`{wording.dotted(path)}`: {wrong}", expected)


def _mend(data: dict[str, Any], path: Path, kind: str) -> None:
    """Take out what was refused, or put a stand-in where something must be."""
    # A limit of a band or a point of a curve goes with its list; a list item of its own is a
    # mapping (a sensor) and is replaced as a whole.
    while len(path) > 1 and isinstance(path[-1], int) and path[0] != "sensors":
        path = path[:-1]
    holder: Any = data
    for key in path[:-1]:
        try:
            holder = holder[key]
        except (KeyError, IndexError, TypeError):
            return  # its parent was mended in this round
    last: Any = path[-1]
    if isinstance(holder, list) and isinstance(last, int) and last < len(holder):
        holder[last] = stand_in(path)
    elif isinstance(holder, dict):
        if kind == "missing":
            holder[last] = stand_in(path)
        else:
            holder.pop(last, None)
