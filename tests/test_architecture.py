"""The shape of the whole: no import circles, one meaning a class name, nothing unused."""

from __future__ import annotations

import ast
import functools
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import ModuleType

from test_import_direction import ROOT, imports_at_import_time

SOURCES = sorted(
    path for top in ("controller", "simulators") for path in (ROOT / top).rglob("*.py")
)
# Whatever may call a function of ours: sources, tests, the lines that start a program.
READERS = [
    *SOURCES,
    *sorted((ROOT / "tests").rglob("*.py")),
    *sorted((ROOT / "systemd").rglob("*")),
]

# Named by nobody here, and why they stay.
CALLED_FROM_OUTSIDE: dict[str, str] = {}

# Class names with two meanings, and why: each pair is never seen in one place.
TWO_MEANINGS = {
    "Question": "a step asked of a person at the rig; one asked for a new config",
    "Quantity": "what an override compares; what a weather file's column holds",
    "Row": "coefficients of a step of the tent; a line of a weather file, of a table of a review",
    "Text": "a config value that is text; a cell of a table",
    "_Reader": "private to its file",
}


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def import_graph() -> dict[str, set[str]]:
    """What each module imports when it is imported; a name out of a package is the package."""
    names = {module_name(path): path for path in SOURCES}
    graph: dict[str, set[str]] = {name: set() for name in names}
    for name, path in names.items():
        found = {module for module in imports_at_import_time(path) if module in names}
        # `from a.b import c` gives both "a.b" and "a.b.c": where c is a module, a.b is only passed.
        graph[name] = {
            module
            for module in found
            if module != name
            and not (
                names[module].name == "__init__.py"
                and any(other.startswith(f"{module}.") for other in found)
            )
        }
    return graph


def circles(graph: dict[str, set[str]]) -> Iterator[list[str]]:
    """Circles of imports, each as the modules along it."""
    done: set[str] = set()

    def follow(name: str, path: list[str]) -> Iterator[list[str]]:
        if name in path:
            yield [*path[path.index(name) :], name]
        elif name not in done:
            for other in sorted(graph[name]):
                yield from follow(other, [*path, name])
            done.add(name)

    for name in sorted(graph):
        yield from follow(name, [])


def test_a_circle_is_found() -> None:
    assert list(circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}})) == [["a", "b", "c", "a"]]
    assert not list(circles({"a": {"b", "c"}, "b": {"c"}, "c": set()}))


def test_no_modules_import_each_other_in_a_circle() -> None:
    graph = import_graph()
    assert graph["controller.control.decide"] >= {"controller.control.memory"}
    assert list(circles(graph)) == []


def test_no_class_name_has_two_meanings() -> None:
    where = defaultdict(list)
    for path in SOURCES:
        for name in re.findall(r"^class (\w+)", path.read_text("utf-8"), re.MULTILINE):
            where[name].append(str(path.relative_to(ROOT)))
    assert len(where) > 200
    twice = {name: paths for name, paths in where.items() if len(paths) > 1}
    assert set(twice) <= set(TWO_MEANINGS), twice
    assert len(TWO_MEANINGS) < 8


def functions(tree: ast.Module) -> Iterator[str]:
    """Functions and methods that are not the language's own or an interface's overloads."""
    for node in ast.walk(tree):
        is_function = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        if is_function and not (node.name.startswith("__") and node.name.endswith("__")):
            yield node.name


def overriding(tree: ast.Module) -> set[str]:
    """Methods of classes with a base from a library: that may be what calls them."""
    ours = {"NamedTuple", "Protocol", "ABC", "StrEnum", "IntEnum", "Exception", "object"}
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef) and {ast.unparse(base) for base in node.bases} - ours:
            found |= {inner.name for inner in node.body if isinstance(inner, ast.FunctionDef)}
    return found


def test_nothing_is_defined_that_nobody_names() -> None:
    counts: Counter[str] = Counter()
    for path in READERS:
        if path.is_file():
            counts.update(re.findall(r"[A-Za-z_][A-Za-z0-9_]*", path.read_text("utf-8", "replace")))
    dead = []
    for path in SOURCES:
        tree = ast.parse(path.read_text("utf-8"))
        defined = Counter(functions(tree))
        library = overriding(tree)
        dead += [
            f"{path.relative_to(ROOT)}: {name}"
            for name, times in defined.items()
            if counts[name] <= times and name not in library and name not in CALLED_FROM_OUTSIDE
        ]
    assert dead == []
    assert {name for name in CALLED_FROM_OUTSIDE if counts[name] > 1} == set()


@functools.cache
def drawn() -> tuple[ModuleType, str]:
    """The script that draws the picture of the packages, and what it draws today."""
    path = ROOT / ".pictures" / "make-architecture.py"
    loader = SourceFileLoader("make_architecture", str(path))
    module = ModuleType(loader.name)
    module.__file__ = str(path)
    loader.exec_module(module)
    return module, module.draw()


def test_the_picture_of_the_packages_is_current() -> None:
    """Else: python .pictures/make-architecture.py"""
    maker, svg = drawn()
    assert maker.PICTURE.read_text("utf-8") == svg


def test_every_arrow_of_the_picture_points_down() -> None:
    _, svg = drawn()
    arrows = re.findall(r'<path d="M\S+ (\S+) C.* (\S+)" fill="none"', svg)
    assert len(arrows) > 20
    assert all(float(start) < float(end) for start, end in arrows)
