"""YAML syntax errors in words for somebody who edits a config twice a year."""

from __future__ import annotations

import yaml

from controller.config.problems import Problem

_TAB = "found character '\\t'"

# What PyYAML says; what it most often means; what was expected.
_MEANINGS = (
    (_TAB, "a tab stands where YAML wants spaces", "spaces for indentation"),
    (
        "mapping values are not allowed",
        "a colon stands where no key can",
        "one `key: value` a line, the keys of a section equally indented; "
        "a text with a colon in quotes",
    ),
    ("found character '%'", "a value cannot start with %", "the number first, e.g. 60 %"),
    ("found character '@'", "a value cannot start with @", "quotes around it"),
    ("found character '`'", "a value cannot start with `", "quotes around it"),
    (
        "expected <block end>",
        "this line does not fit the lines above it",
        "the keys of a section equally indented, list items behind equally indented dashes",
    ),
    ("found unexpected end of stream", "a quote is opened and never closed", "a closing quote"),
    (
        "expected ',' or ']'",
        "a list is opened with [ and not closed",
        "commas between its values and ] behind them",
    ),
    (
        "expected ',' or '}'",
        "a mapping is opened with { and not closed",
        "commas between its entries and } behind them",
    ),
    ("could not find expected ':'", "a key has no colon", "`key: value`"),
)


def explain(error: yaml.MarkedYAMLError, name: str) -> Problem:
    """PyYAML's complaint in our form: where it noticed, and what it most often means."""
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    complaint = error.problem or "unknown error"
    if "\t" in complaint or _is_tab(mark):
        complaint = _TAB
    message, expected = f"this is not YAML: {complaint}", "`key: value` lines"
    for sign, meaning, wanted in _MEANINGS:
        if sign in complaint:
            message, expected = meaning, wanted
            break
    if error.context_mark and error.context_mark.line + 1 < line:
        message += f" (it began in line {error.context_mark.line + 1})"
    return Problem(name, line, column, message, expected)


def _is_tab(mark: yaml.Mark | None) -> bool:
    return (
        mark is not None
        and mark.buffer is not None
        and mark.buffer[mark.pointer : mark.pointer + 1] == "\t"
    )
