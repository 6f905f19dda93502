"""The words of the loader's messages."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Literal, get_args, get_origin

from controller.config.lookup import bare, example, field_at, fields, section_at
from controller.config.model import Settings
from controller.config.problems import printable
from controller.config.section import Section
from controller.config.yaml_tree import KeyPath

_CURRENCY = re.compile(r"[0-9]\s*(?!per)([A-Z]{3})\s*(?:/|per|$)", re.IGNORECASE | re.ASCII)


def dotted(path: KeyPath) -> str:
    """A path as people read it: `sensors[0].pin`."""
    text = ""
    for key in path:
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else str(key)
    return text


def one_of(options: Iterable[object]) -> str:
    """a, b or c."""
    *most, last = map(str, options)
    return f"{', '.join(most)} or {last}" if most else last


def currency_of(price: object) -> str | None:
    """The currency written with a price, as in "0.31 EUR/kWh"."""
    match = _CURRENCY.search(price) if isinstance(price, str) else None
    return match[1].upper() if match else None


def nearest(word: str, options: Iterable[str]) -> str | None:
    """The option most like a word, or None when none is like it."""
    import difflib

    by_lower = {option.lower(): option for option in options}
    near = difflib.get_close_matches(word.lower(), by_lower, 1, 0.6)
    return by_lower[near[0]] if near else None


# Keys that were called otherwise before the words were settled.
_RENAMED = {
    "lead": "pre_run",
    "lag": "run_on",
    "deadband": "hysteresis",
    "damp": "high_humidity",
    "severe_damp": "severe_humidity",
}


def _new_name(path: KeyPath) -> str | None:
    """What a key is called now that its section knows under another name."""
    name, model = _RENAMED.get(str(path[-1])), section_at(path[:-1])
    return name if name is not None and model is not None and name in fields(model) else None


def suggestion(path: KeyPath) -> str | None:
    """The key of the same section that an unknown key most likely stands for."""
    model = section_at(path[:-1])
    if model is None:
        return None
    return _new_name(path) or nearest(str(path[-1]), fields(model))


def unknown_key(path: KeyPath) -> tuple[str, str]:
    """What is wrong with a key that its section does not have, and what was expected."""
    key, section = str(path[-1]), dotted(path[:-1])
    shown = printable(key)
    wrong = f"`{section}` has no key `{shown}`" if section else f"there is no section `{shown}`"
    if key == "<<":
        return "merge keys (`<<`) are not taken", "every key written out"
    if key[:1].isdecimal():
        return wrong, "decimals with a point: a comma begins the next key"
    new_name = _new_name(path)
    if new_name is not None:
        return wrong, f"`{new_name}`, its name now"
    home = _home_of(key)
    if home:
        return wrong, f"`{key}` in {home}"
    near = suggestion(path)
    if near is not None:
        return wrong, f"`{near}`, perhaps"
    model = section_at(path[:-1])
    return wrong, one_of(fields(model)) if model is not None else ""


def _home_of(key: str) -> str | None:
    """The section that does have a key, if there is exactly one."""
    homes = [place for place, model in _sections() if key in fields(model)]
    return (f"`{homes[0]}`" if homes[0] else "no section") if len(homes) == 1 else None


def _sections() -> Iterator[tuple[str, type[Section]]]:
    stack: list[tuple[KeyPath, type[Section]]] = [((), Settings)]
    while stack:
        path, model = stack.pop()
        yield dotted(path), model
        for key, info in fields(model).items():
            inner = bare(info.annotation)
            if isinstance(inner, type) and issubclass(inner, Section):
                stack.append(((*path, key), inner))


def what_goes_at(path: KeyPath) -> str:
    """What a key takes, in words."""
    info = field_at(path)
    if info is None:
        return "a value"
    inner = bare(info.annotation)
    if isinstance(inner, type) and issubclass(inner, Section):
        required = [key for key, sub in fields(inner).items() if sub.is_required]
        noun = "a list of sections" if get_origin(info.annotation) is tuple else "a section"
        return f"{noun} with {_and(required)}" if required else noun
    if get_origin(inner) is Literal:
        return one_of(get_args(inner))
    what = (info.description or "a value").split(";")[0].rstrip(".")
    return f"{what[0].lower() if what[1:2].islower() else what[0]}{what[1:]}, e.g. {example(info)}"


def _and(keys: list[str]) -> str:
    *most, last = (f"`{key}`" for key in keys)
    return f"{', '.join(most)} and {last}" if most else last
