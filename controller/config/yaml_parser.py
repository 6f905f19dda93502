"""A YAML text into a tree that knows where everything stands; bounded, and safe on any input.

Scalars stay the text that was written. What a value means is decided by the key that takes it, so
none of YAML 1.1's guesses (6:00 is 360, on is true, 1_0 is 10) can bite.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import Any

import yaml

from controller.config.problems import ConfigError, Problem, printable
from controller.config.yaml_errors import explain
from controller.config.yaml_tree import MAX_NODES, Mapping, Node, Scalar, Sequence, YamlSource

MAX_BYTES = 64 * 1024
MAX_DEPTH = 12

_PLAIN_TAGS = {
    f"tag:yaml.org,2002:{name}" for name in ("str", "map", "seq", "int", "float", "bool")
}
_NULLS = {"", "~", "null", "Null", "NULL", "none", "None", "NONE"}

# Control characters, lone surrogates (from "\\ud800"), line and paragraph separators.
_UNFIT = {"Cc", "Cs", "Zl", "Zp"}


def decode(data: bytes, name: str) -> str:
    """The text of a file's bytes; a byte-order mark is dropped.

    Raises
    ------
    ConfigError
        Too long, or not UTF-8, with the place of the first bad byte.
    """
    if data.startswith(b"SQLite format 3"):
        expected = "a config, and the record behind --record"
        raise ConfigError((Problem(name, 1, 1, "this is a record", expected),))
    if len(data) > MAX_BYTES:
        raise ConfigError(
            (
                Problem(
                    name,
                    1,
                    1,
                    "the file is too long",
                    f"a config of at most {MAX_BYTES // 1024} KiB",
                ),
            )
        )
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise ConfigError((Problem(name, 1, 1, "the file is UTF-16", "a file saved as UTF-8"),))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace")) + 1
        wrong = f"byte 0x{data[error.start]:02x} is not UTF-8"
        raise ConfigError((Problem(name, line, column, wrong, "a file saved as UTF-8"),)) from None


def read(text: str, name: str) -> YamlSource:
    """Read a text into a tree.

    Raises
    ------
    ConfigError
        For what leaves no tree to go on with: a syntax error, a bomb, an empty file, a list at
        top level.
    """
    if len(text) > MAX_BYTES:
        decode(b" " * (MAX_BYTES + 1), name)
    builder = _Builder(name)
    try:
        for event in yaml.parse(text.removeprefix("\ufeff"), Loader=yaml.SafeLoader):
            builder.take(event)
    except yaml.MarkedYAMLError as error:
        raise ConfigError((explain(error, name),)) from None
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        line, column = before.count("\n") + 1, error.position - (before.rfind("\n") + 1) + 1
        wrong = f"the character U+{error.character:04X} may not stand in a config"
        raise ConfigError((Problem(name, line, column, wrong, "plain text"),)) from None
    except (ValueError, RecursionError, OverflowError):
        # PyYAML lets a few through, e.g. an absurd %YAML version or \U escape.
        raise ConfigError(
            (Problem(name, 1, 1, "the file is not YAML", "a YAML mapping"),)
        ) from None
    root = builder.root
    if root is None or (isinstance(root, Scalar) and root.text is None):
        raise ConfigError(
            (
                Problem(
                    name, 1, 1, "the file is empty", "the sections tent, place, lamp, fan, sensors"
                ),
            )
        )
    if not isinstance(root, Mapping):
        what = "a list" if isinstance(root, Sequence) else "a single value"
        raise ConfigError(
            (
                Problem(
                    name, root.line, root.column, f"the file holds {what}",
                    "a mapping with the sections tent, place, lamp, fan, sensors",
                ),
            )
        )  # fmt: skip
    return YamlSource(name, root, builder.problems)


@dataclass(slots=True)
class _Frame:
    """A list or mapping that is still open."""

    node: Mapping | Sequence
    anchor: str | None
    nodes_before: int
    key: Scalar | None = None


class _Builder:
    """Builds the tree from the parser's events, without recursion."""

    def __init__(self, name: str) -> None:
        self.root: Node | None = None
        self.problems: list[Problem] = []
        self._name = name
        self._frames: list[_Frame] = []
        self._anchors: dict[str, tuple[Node, int]] = {}
        self._nodes = 0
        self._documents = 0

    def take(self, event: Any) -> None:
        """Take one event of the parser."""
        if isinstance(event, yaml.DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                raise self._stop(event, "a second document starts here", "one config a file")
        elif isinstance(event, yaml.AliasEvent):
            self._alias(event)
        elif isinstance(event, yaml.ScalarEvent):
            self._check_tag(event)
            text: str | None = self._checked(event)
            if event.style is None and text in _NULLS:
                text = None
            self._count(event, 1)
            is_blank = event.style is None and event.value == ""
            self._finish(Scalar(*_place(event), text, is_blank), event.anchor, 1)
        elif isinstance(event, yaml.MappingStartEvent | yaml.SequenceStartEvent):
            self._check_tag(event)
            if len(self._frames) >= MAX_DEPTH:
                raise self._stop(
                    event, "lists and mappings are nested too deep", f"at most {MAX_DEPTH} levels"
                )
            self._count(event, 1)
            kind = Mapping if isinstance(event, yaml.MappingStartEvent) else Sequence
            self._frames.append(_Frame(kind(*_place(event)), event.anchor, self._nodes))
        elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
            frame = self._frames.pop()
            self._finish(frame.node, frame.anchor, self._nodes - frame.nodes_before + 1)

    def _checked(self, event: Any) -> str:
        """The text of a scalar, which goes on to logs, terminals and file names."""
        text: str = event.value.rstrip("\n") if event.style in ("|", ">") else event.value
        for sign in text:
            if unicodedata.category(sign) in _UNFIT and sign != "\t":
                wrong = f"the character U+{ord(sign):04X} may not stand in a value"
                raise self._stop(event, wrong, "a plain text of one line")
        return text

    def _alias(self, event: Any) -> None:
        if event.anchor not in self._anchors:
            raise self._stop(
                event,
                f"the alias *{event.anchor} refers to nothing above it",
                f"a value marked &{event.anchor} earlier in the file",
            )
        node, size = self._anchors[event.anchor]
        self._count(event, size)
        self._attach(node, event)

    def _count(self, event: Any, nodes: int) -> None:
        self._nodes += nodes
        if self._nodes > MAX_NODES:
            raise self._stop(
                event,
                "the file holds too many values, aliases counted as often as they are used",
                f"at most {MAX_NODES}",
            )

    def _check_tag(self, event: Any) -> None:
        if event.tag not in (None, "!") and event.tag not in _PLAIN_TAGS:
            shown = event.tag.replace("tag:yaml.org,2002:", "!!")
            raise self._stop(
                event, f"the tag {printable(shown)} is refused", "plain values without tags"
            )

    def _finish(self, node: Node, anchor: str | None, size: int) -> None:
        if anchor is not None:
            self._anchors[anchor] = (node, size)
        self._attach(node, None)

    def _attach(self, node: Node, event: Any) -> None:
        if not self._frames:
            self.root = node
            return
        frame = self._frames[-1]
        if isinstance(frame.node, Sequence):
            frame.node.items.append(node)
        elif frame.key is None:
            if not isinstance(node, Scalar) or node.text is None:
                wrong = "a key is missing" if isinstance(node, Scalar) else "this cannot be a key"
                raise self._stop_at(node.line, node.column, wrong, "`key: value`, the key a name")
            frame.key = node if event is None else Scalar(*_place(event), node.text)
        else:
            self._enter(frame.node, frame.key, node)
            frame.key = None

    def _enter(self, mapping: Mapping, key: Scalar, value: Node) -> None:
        assert key.text is not None
        first = mapping.entries.get(key.text)
        if first is None:
            mapping.entries[key.text] = (key, value)
            return
        self.problems.append(
            Problem(
                self._name,
                key.line,
                key.column,
                f"`{printable(key.text)}` is given twice, in line {first[0].line} "
                f"and in line {key.line}",
                "each key once",
            )
        )

    def _stop(self, event: Any, message: str, expected: str) -> ConfigError:
        return self._stop_at(*_place(event), message, expected)

    def _stop_at(self, line: int, column: int, message: str, expected: str) -> ConfigError:
        problem = Problem(self._name, line, column, message, expected)
        return ConfigError((*self.problems, problem))


def _place(event: Any) -> tuple[int, int]:
    return event.start_mark.line + 1, event.start_mark.column + 1
