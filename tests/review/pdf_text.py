"""The text of a PDF that Chromium printed: what it is, where it stands and how large.

Just enough of ISO 32000-1, as Skia writes it: pages (7.7.3), coordinates (8.3), text (9.4) and
ToUnicode maps (9.10.3); uncompressed objects, one stream a page, horizontal text.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from typing import NamedTuple

Matrix = tuple[float, float, float, float, float, float]
_UNIT: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
_NUMBER = rb"(-?[\d.]+)"
_TOKEN = re.compile(
    rb"<[0-9A-Fa-f]*>|\[|\]|\((?:\\.|[^\\)])*\)|<<|>>|/[^\s<>\[\]()/]+|[^\s<>\[\]()/]+"
)


class PrintedText(NamedTuple):
    """A piece of text on paper: page from 0, left end and baseline from the top, size [pt]."""

    page: int
    x: float
    y: float
    size: float
    text: str


def printed_text(pdf: bytes) -> list[PrintedText]:
    """Every piece of text, page by page in the order of drawing."""
    objects = dict(_objects(pdf))
    pages = _pages(objects)
    return [piece for number, page in enumerate(pages) for piece in _on_page(objects, number, page)]


def _objects(pdf: bytes) -> Iterator[tuple[int, bytes]]:
    for match in re.finditer(rb"(?m)^(\d+) 0 obj\n(.*?)\nendobj$", pdf, re.DOTALL):
        yield int(match[1]), match[2]


def _pages(objects: dict[int, bytes]) -> list[bytes]:
    roots = [body for body in objects.values() if re.search(rb"/Type /Pages\b", body)]
    (root,) = (body for body in roots if b"/Parent" not in body)
    return list(_leaves(objects, root))


def _leaves(objects: dict[int, bytes], node: bytes) -> Iterator[bytes]:
    kids = re.search(rb"/Kids \[(.*?)\]", node, re.DOTALL)
    if kids is None:
        yield node
        return
    for number in re.findall(rb"(\d+) 0 R", kids[1]):
        yield from _leaves(objects, objects[int(number)])


def _stream(body: bytes) -> bytes:
    data = body[body.index(b"stream\n") + 7 : body.rindex(b"\nendstream")]
    return zlib.decompress(data) if b"/FlateDecode" in body else data


def _on_page(objects: dict[int, bytes], number: int, page: bytes) -> Iterator[PrintedText]:
    height = float(re.search(rb"/MediaBox \[0 0 [\d.]+ ([\d.]+)\]", page)[1])  # type: ignore[index]
    fonts = {
        name: _to_unicode(objects, objects[int(reference)])
        for name, reference in re.findall(rb"/(F\d+) (\d+) 0 R", page)
    }
    contents = re.search(rb"/Contents (\d+) 0 R", page)
    assert contents is not None
    ctm, stack, operands = _UNIT, [], []
    line, size, font = _UNIT, 0.0, b""
    for token in _TOKEN.findall(_stream(objects[int(contents[1])])):
        if token == b"q":
            stack.append(ctm)
        elif token == b"Q":
            ctm = stack.pop()
        elif token == b"cm":
            ctm = _product(_matrix(operands[-6:]), ctm)
        elif token == b"Tf":
            font, size = operands[-2][1:], float(operands[-1])
        elif token == b"BT":
            line = _UNIT
        elif token == b"Tm":
            line = _matrix(operands[-6:])
        elif token == b"Td":
            line = _product((1.0, 0.0, 0.0, 1.0, *map(float, operands[-2:])), line)
        elif token == b"Tj":
            a, _, _, d, x, y = _product(line, ctm)
            text = "".join(fonts[font].get(int(code, 16), "?") for code in
                           re.findall(rb"[0-9A-Fa-f]{4}", operands[-1]))  # fmt: skip
            yield PrintedText(number, x, height - y, size * abs(a * d) ** 0.5, text)
        else:
            operands.append(token)
            continue
        operands = []


def _matrix(operands: list[bytes]) -> Matrix:
    a, b, c, d, e, f = map(float, operands)
    return a, b, c, d, e, f


def _product(first: Matrix, then: Matrix) -> Matrix:
    a, b, c, d, e, f = first
    p, q, r, s, t, u = then
    return (
        a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s,
        e * p + f * r + t, e * q + f * s + u,
    )  # fmt: skip


def _to_unicode(objects: dict[int, bytes], font: bytes) -> dict[int, str]:
    reference = re.search(rb"/ToUnicode (\d+) 0 R", font)
    if reference is None:
        return {}
    cmap = _stream(objects[int(reference[1])]).decode("ascii")
    codes: dict[int, str] = {}
    for block in re.findall(r"beginbfchar\n(.*?)endbfchar", cmap, re.DOTALL):
        for code, text in re.findall(r"<(\w+)> <(\w+)>", block):
            codes[int(code, 16)] = bytes.fromhex(text).decode("utf-16-be")
    for block in re.findall(r"beginbfrange\n(.*?)endbfrange", cmap, re.DOTALL):
        for first, last, text in re.findall(r"<(\w+)> <(\w+)> <(\w+)>", block):
            for code in range(int(first, 16), int(last, 16) + 1):
                codes[code] = chr(int(text, 16) + code - int(first, 16))
    return codes
