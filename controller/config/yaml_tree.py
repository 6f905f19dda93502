"""What a config file says, as a tree that knows where everything stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from controller.config.problems import Problem

MAX_NODES = 5_000

Key = str | int
KeyPath = tuple[Key, ...]
"""Keys and list indices from the root of the file to a value."""


@dataclass(slots=True)
class Node:
    """A value and where it starts; line and column count from 1."""

    line: int
    column: int


@dataclass(slots=True)
class Scalar(Node):
    """A single value as written; None for nothing, `null`, `~` or a plain `none`."""

    text: str | None
    is_blank: bool = False  # nothing stands there, or a comment alone


@dataclass(slots=True)
class Sequence(Node):
    """A list."""

    items: list[Node] = field(default_factory=list)


@dataclass(slots=True)
class Mapping(Node):
    """Keys and values, with the node of each key for its place."""

    entries: dict[str, tuple[Scalar, Node]] = field(default_factory=dict)


@dataclass(slots=True)
class YamlSource:
    """A whole file.

    Attributes
    ----------
    name : str
        What messages call the file.
    root : Mapping
        The tree.
    problems : list of Problem
        Found while reading, without stopping it: duplicate keys.
    """

    name: str
    root: Mapping
    problems: list[Problem]

    def find(self, path: KeyPath) -> Node | None:
        """The node at a path of keys and list indices, or None where the file has none."""
        node: Node = self.root
        for key in path:
            if isinstance(node, Mapping) and key in node.entries:
                node = node.entries[str(key)][1]
            elif isinstance(node, Sequence) and isinstance(key, int) and key < len(node.items):
                node = node.items[key]
            else:
                return None
        return node

    def place(self, path: KeyPath, *, of_key: bool = False) -> tuple[int, int]:
        """Line and column of a value (or of its key), else of the nearest key above it."""
        for end in range(len(path), 0, -1):
            node = self.find(path[:end])
            if node is None:
                continue
            if of_key or end < len(path) or isinstance(node, Mapping):
                parent = self.find(path[: end - 1])
                if isinstance(parent, Mapping):
                    node = parent.entries[str(path[end - 1])][0]
            return node.line, node.column
        return self.root.line, self.root.column

    def blanks(self) -> Iterator[KeyPath]:
        """The path of every key that has nothing behind it."""
        stack: list[tuple[KeyPath, Node]] = [((), self.root)]
        for _ in range(MAX_NODES):
            if not stack:
                return
            path, node = stack.pop()
            if isinstance(node, Scalar) and node.is_blank:
                yield path
            elif isinstance(node, Sequence):
                stack.extend(((*path, n), item) for n, item in enumerate(node.items))
            elif isinstance(node, Mapping):
                stack.extend(((*path, key), value) for key, (_, value) in node.entries.items())

    def scalars(self) -> Iterator[str]:
        """Every value that was written, in no special order."""
        stack: list[Node] = [self.root]
        for _ in range(MAX_NODES):
            if not stack:
                return
            node = stack.pop()
            if isinstance(node, Scalar):
                yield node.text or ""
            elif isinstance(node, Sequence):
                stack.extend(node.items)
            elif isinstance(node, Mapping):
                stack.extend(value for _, value in node.entries.values())


def plain(node: Node) -> Any:
    """The tree as dicts, lists and texts; None for nothing."""
    if isinstance(node, Mapping):
        return {key: plain(value) for key, (_, value) in node.entries.items()}
    if isinstance(node, Sequence):
        return [plain(item) for item in node.items]
    assert isinstance(node, Scalar)
    return node.text
