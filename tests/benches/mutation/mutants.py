"""Small changes to a module's source, each of which its tests should notice."""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
_SUMS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
}
# What `_change` knows to change something of.
_CHANGEABLE = (
    *(ast.Compare, ast.BoolOp, ast.UnaryOp, ast.BinOp, ast.AugAssign),
    *(ast.Call, ast.Constant, ast.If, ast.IfExp, ast.While),
)
_CALLS = {"min": "max", "max": "min", "any": "all", "all": "any"}


class Mutant(NamedTuple):
    """One changed module.

    Attributes
    ----------
    line : int
        Where the change is, from 1.
    what : str
        The line before and after, in short.
    source : str
        The whole module, changed.
    """

    line: int
    what: str
    source: str


def mutants(path: Path) -> Iterator[Mutant]:
    """Give every mutant of a module, one change each."""
    tree = ast.parse(path.read_text("utf-8"))
    passive = _passive(tree)
    for index, unchanged in enumerate(list(ast.walk(tree))):
        if index in passive or not isinstance(unchanged, _CHANGEABLE):
            continue
        for variant in range(2):
            changed = copy.deepcopy(tree)
            node = list(ast.walk(changed))[index]
            before = _line(node)
            if not _change(node, variant):
                break
            yield Mutant(
                getattr(node, "lineno", 0),
                f"{before}  →  {_line(node)}",
                ast.unparse(ast.fix_missing_locations(changed)),
            )


def _line(node: ast.AST) -> str:
    return (ast.unparse(node).splitlines() or [""])[0]


def _passive(tree: ast.Module) -> set[int]:
    """Indices of nodes that say nothing at run time: annotations, docstrings, `__slots__`."""
    silent: set[int] = set()
    for node in ast.walk(tree):
        parts: list[ast.AST] = []
        if isinstance(node, ast.AnnAssign | ast.arg) and node.annotation is not None:
            parts.append(node.annotation)
        if isinstance(node, ast.FunctionDef) and node.returns is not None:
            parts.append(node.returns)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            parts.append(node)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            parts.append(node)
        if isinstance(node, ast.Raise | ast.Assert):  # their texts; that they are raised counts
            parts += [node.exc or node] if isinstance(node, ast.Raise) else [node]
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            parts += node.decorator_list
        for part in parts:
            silent |= {id(inner) for inner in ast.walk(part)}
    return {i for i, node in enumerate(ast.walk(tree)) if id(node) in silent}


def _change(node: ast.AST, variant: int) -> bool:
    """Change a node in place; False where it has no such variant."""
    if variant:
        if isinstance(node, ast.If | ast.IfExp | ast.While):
            node.test = ast.Constant(False)
            return True
        return False
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARISONS:
        node.ops[0] = _COMPARISONS[type(node.ops[0])]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        node.op = ast.UAdd()
        node.operand = ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        node.op = ast.UAdd()
    elif isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in _SUMS:
        node.op = _SUMS[type(node.op)]()
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _CALLS:
        node.func.id = _CALLS[node.func.id]
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        node.value = not node.value
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        node.value = node.value + 1
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        node.test = ast.Constant(True)
        return not isinstance(node, ast.While)  # an endless loop says nothing
    else:
        return False
    return True
