"""JSON Schemas of the values that are no quantities; `quantities` reads the same forms."""

from __future__ import annotations

from typing import Any

from controller import clock_time

Schema = dict[str, Any]

PIN: Schema = {
    "anyOf": [
        {"type": "integer", "minimum": 0, "maximum": 27},
        {"type": "string", "pattern": r"^\s*(?:[Gg][Pp][Ii][Oo]\s*)?(?:0?[0-9]|1[0-9]|2[0-7])\s*$"},
    ],
    "examples": [18],
}
FLAG: Schema = {
    "anyOf": [
        {"type": "boolean"},
        {"enum": [case for word in ("true", "yes", "on", "false", "no", "off")
                  for case in (word, word.title(), word.upper())]},
    ],
    "examples": [True],
}  # fmt: skip
TIME: Schema = {
    "type": "string",
    "pattern": f"^{clock_time.PATTERN}$",
    "examples": ["06:00"],
}
ZONE: Schema = {"type": "string", "minLength": 1, "examples": ["Europe/Rome"]}
PRICE: Schema = {
    "anyOf": [
        {"type": "number", "minimum": 0, "maximum": 1e6},
        {
            "type": "string",
            "pattern": r"^\s*[0-9]+(?:\.[0-9]+)?\s*(?:(?![Pp][Ee][Rr])[A-Za-z]{3})?\s*"
            r"(?:(?:\/|[Pp][Ee][Rr])\s*[Kk][Ww][Hh])?\s*$",
        },
    ],
    "examples": [0.31],
}
CURRENCY: Schema = {"type": "string", "pattern": r"^\s*[A-Za-z]{3}\s*$", "examples": ["EUR"]}
PATH: Schema = {
    "type": "string",
    "minLength": 1,
    "maxLength": 4096,
    "examples": ["/var/lib/lungwort/tent.sqlite3"],
}
