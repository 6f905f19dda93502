"""The wiring sheet as a page of its own: drawing, table, and what to know of each part."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib import resources

from controller.pages.html import care, document, prose
from controller.wiring import cautions
from controller.wiring.drawing import drawing
from controller.wiring.sheet import Part, Sheet
from controller.wiring.text import CONFIG_TXT, NO_OVERLAY


def page(sheet: Sheet) -> str:
    """The whole page; it needs nothing from anywhere else.

    Parameters
    ----------
    sheet : Sheet
        What to show.
    """
    css = resources.files("controller.wiring").joinpath("page.css").read_text("utf-8")
    body = [
        f"<h1>Wiring of {escape(sheet.tent)}</h1>",
        care((cautions.FIRST, *sheet.clashes)),
        _figure(sheet),
        _table(sheet),
        _overlays(sheet),
        *map(_part, sheet.parts),
        "<p>What the Pi does to each wire is worked out of the config, for a rig wired as this "
        "sheet says; <code>lungwort commission</code> tries it on yours.</p>",
    ]
    return document(f"Wiring of {sheet.tent}", css, "".join(body))


def _figure(sheet: Sheet) -> str:
    if not sheet.wires:
        return "<p>No wire goes to the Pi's header.</p>"
    return (
        f"<figure>{drawing(sheet)}<figcaption>The header seen from above: pin 1, square, is at the "
        "corner of the board, odd numbers along the inner row. Where wires cross they are not "
        "joined.</figcaption></figure>"
    )


def _table(sheet: Sheet) -> str:
    if not sheet.wires:
        return ""
    rows = "".join(
        f'<tr><td class="n">{wire.pin.number}</td><td class="nobreak">{wire.pin.signal}</td>'
        f"<td>{escape(part.name)}</td><td>{prose(wire.goes_to)}</td></tr>"
        for part, wire in sheet.wires
    )
    return (
        '<h2>By header pin</h2><table><thead><tr><th class="n">pin</th><th>signal</th><th>part</th>'
        f"<th>goes to</th></tr></thead><tbody>{rows}</tbody></table>"
        + "".join(f"<p>{prose(text)}</p>" for text in sheet.shared)
    )


def _overlays(sheet: Sheet) -> str:
    if not sheet.overlays:
        return f"<p>{escape(NO_OVERLAY)}</p>"
    return f"<h2>Lines for {CONFIG_TXT}</h2><pre>{escape(chr(10).join(sheet.overlays))}</pre>"


def _part(part: Part) -> str:
    rows = [("Supply", part.supply), ("Resistor", part.pull), ("Relay contact", part.contact)]
    known = "".join(
        f"<div><dt>{label}</dt><dd>{prose(text)}</dd></div>" for label, text in rows if text
    )
    circuit = f"<pre>{escape(chr(10).join(part.circuit))}</pre>" if part.circuit else ""
    return (
        f"<section><h2>{prose(part.title)}</h2>{care(part.cautions)}{circuit}"
        f"{f'<dl>{known}</dl>' if known else ''}{_states(part)}{_list('What to buy', part.buy)}"
        f"{_list('To know', part.notes)}</section>"
    )


def _states(part: Part) -> str:
    if not part.states:
        return ""
    items = [
        f"<li>{escape(state.name)}: <b>{prose(state.does)}</b>"
        + (f" ({prose(state.why)})" if state.why else "")
        + "</li>"
        for state in part.states
    ]
    return f"<h3>When something fails</h3><ul>{''.join(items)}</ul>"


def _list(title: str, texts: Sequence[str]) -> str:
    if not texts:
        return ""
    return f"<h3>{title}</h3><ul>{''.join(f'<li>{prose(text)}</li>' for text in texts)}</ul>"
