"""The wiring sheet for the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from controller.tables import table_lines, wrapped
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
    rows = [
        (str(wire.pin.number), wire.pin.signal, part.name, wire.goes_to)
        for part, wire in sheet.wires
    ]
    heads = ("pin", "signal", "part", "goes to")
    return [*title, *table_lines(heads, rows, width, align="><<<", keys=3), *shared]


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
        return [*([f"  {label}"] if label else []), *wrapped(text, width, first="    - ")]
    return wrapped(text, width, first=f"  {label:{_LABEL - 2}}")
