"""On a page each reason for the fan's speed has a pattern, a colour and a tint of its own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import controller.review.views.page as page
from controller.control.types import Rule
from controller.pages.svg import PATTERNS

STYLE = (Path(page.__file__).parent / "page.css").read_text("utf-8")
NAMES = [*(rule.value for rule in Rule), "other"]


@pytest.mark.parametrize("name", NAMES)
def test_every_reason_has_a_look_in_light_dark_and_print(name: str) -> None:
    assert name in PATTERNS
    assert len(re.findall(rf"--{name}:", STYLE)) == 3
    assert f".f-{name} {{ stroke: var(--{name}); }}" in STYLE
    assert f".tint.f-{name} {{ fill: var(--{name}); }}" in STYLE


def test_no_two_reasons_look_alike() -> None:
    marks = [PATTERNS[name] for name in NAMES]
    assert len(set(marks)) == len(marks)
    for colours in zip(*(re.findall(rf"--{name}: (#\w+)", STYLE) for name in NAMES), strict=True):
        assert len(set(colours)) == len(colours)
