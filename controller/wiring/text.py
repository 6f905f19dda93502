"""The wiring sheet for the terminal."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator

from controller.wiring import cautions
from controller.wiring.sheet import Part, Sheet

WIDEST = 79
_NARROW = 60
_LABEL = 13

CONFIG_TXT = "/boot/firmware/config.txt"
NO_OVERLAY = f"Nothing has to be added to {CONFIG_TXT}."


def as_text(sheet: Sheet, width: int = WIDEST) -> str:
    """The whole sheet.

    Parameters
    ----------
    sheet : Sheet
        What to show.
    width : int
        Columns there are; 79 are used at most, and below 60 the table becomes a list.
    """
    width = min(WIDEST, max(30, width))
    blocks = [
        [f"Wiring of {sheet.tent}"],
        wrapped(cautions.FIRST, width),
        *(wrapped(f"! {clash}", width) for clash in sheet.clashes),
        _header_lines(sheet, width),
        _overlay_lines(sheet, width),
        *(list(_part_lines(part, width)) for part in sheet.parts),
        wrapped(
            "What the Pi does to each wire is worked out of the config, for a rig wired as this "
            "sheet says; `lungwort commission` tries it on yours. `--html FILE` draws it.",
            width,
        ),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def wrapped(text: str, width: int, first: str = "", later: str | None = None) -> list[str]:
    """The lines of a text, broken at spaces but not between a number and its unit."""
    joined = re.sub(
        r"(?<=\d) (?=[kM]?Ω|V\b|A\b|W\b|kHz|%|min\b)|(?<=GPIO) (?=\d)", "\N{NO-BREAK SPACE}", text
    )
    lines = textwrap.wrap(
        joined,
        width,
        initial_indent=first,
        subsequent_indent=first if later is None else later,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def _header_lines(sheet: Sheet, width: int) -> list[str]:
    """Every wire by its header pin."""
    if not sheet.wires:
        return ["No wire goes to the Pi's header."]
    title = wrapped(
        "From the 40-pin header (pin 1 is at the corner with the square pad, odd numbers along its "
        "inner row)",
        width,
    )
    shared = [line for text in sheet.shared for line in wrapped(text, width)]
    if width < _NARROW:
        rows = []
        for part, wire in sheet.wires:
            rows.append(f"pin {wire.pin.number}, {wire.pin.signal}, {part.name}")
            rows += wrapped(wire.goes_to, width, "  ")
        return [*title, *rows, *shared]
    names = max(len(part.name) for part, _ in sheet.wires)
    rows = [f"{'pin':>4}  {'signal':8}{'part':{names}}  goes to"]
    for part, wire in sheet.wires:
        head = f"{wire.pin.number:>4}  {wire.pin.signal:8}{part.name:{names}}  "
        rows += wrapped(wire.goes_to, width, head, " " * len(head))
    return [*title, *rows, *shared]


def _overlay_lines(sheet: Sheet, width: int) -> list[str]:
    if not sheet.overlays:
        return wrapped(NO_OVERLAY, width)
    return [*wrapped(f"Lines for {CONFIG_TXT}", width), *(f"  {line}" for line in sheet.overlays)]


def _part_lines(part: Part, width: int) -> Iterator[str]:
    yield from wrapped(part.title, width)
    if part.circuit and max(map(len, part.circuit)) + 2 <= width:
        yield from (f"  {line}" for line in part.circuit)
    rows = [("supply", part.supply), ("resistor", part.pull), ("contact", part.contact)]
    rows += [("take care", text) for text in part.cautions]
    rows += [("buy", text) for text in part.buy]
    rows += [("note", text) for text in part.notes]
    shown = ""
    for label, text in rows:
        if text:
            yield from _labelled("" if label == shown else label, text, width)
            shown = label
    for index, state in enumerate(part.states):
        why = f" ({state.why})" if state.why else ""
        label = "" if index else "failures"
        yield from _labelled(label, f"{state.name}: {state.does}{why}", width)


def _labelled(label: str, text: str, width: int) -> list[str]:
    """A text beside its label, or below it where there is little room."""
    if width < _NARROW:
        return [*([f"  {label}"] if label else []), *wrapped(text, width, "    - ", "      ")]
    head = f"  {label:{_LABEL - 2}}"
    return wrapped(text, width, head, " " * _LABEL)
