"""The page in headless Chromium: widths, console, dark, slider. Skipped where there is none."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from browser_pages import Answers, Question, answers, needs_chromium

pytestmark = needs_chromium

TOO_WIDE = "return d.documentElement.scrollWidth - d.documentElement.clientWidth;"

MOVED = """
    const slider = d.querySelector('#moment'), output = d.querySelector('output');
    const first = output.textContent;
    slider.value = 0;
    slider.dispatchEvent(new Event('input'));
    return first + ' / ' + output.textContent;
"""

FOCUSED = """
    const slider = d.querySelector('#moment');
    slider.focus();
    const note = d.getElementById(slider.getAttribute('aria-describedby'));
    return [d.activeElement === slider, slider.tabIndex, slider.labels.length,
        slider.getAttribute('aria-valuetext') !== '', slider.checkVisibility(),
        note.checkVisibility(), Number(slider.max) > 10].join(' ');
"""

# A number and its unit, wherever a page writes them.
QUANTITY = r"\d[ \u00a0](?:°[CF]|%|k?Pa|kWh|h|min|K|W|s|d|mol|EUR|USD)(?![A-Za-z])"
BROKEN = f"""
    d.querySelectorAll('details').forEach(each => {{ each.open = true; }});
    const walker = d.createTreeWalker(d.body, NodeFilter.SHOW_TEXT), broken = [];
    let seen = 0;
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {{
      if (!node.parentElement.checkVisibility()) continue;
      for (const match of node.data.matchAll(/{QUANTITY}/g)) {{
        const range = d.createRange();
        range.setStart(node, match.index);
        range.setEnd(node, match.index + match[0].length);
        const tops = [...range.getClientRects()].map(box => Math.round(box.top));
        seen += tops.length > 0;
        if (new Set(tops).size > 1) broken.push(node.data);
      }}
    }}
    return seen + ':' + broken.join('|');
"""

# Contrast of each text with what is behind it, by WCAG 2.2's definition of relative luminance.
LEAST_CONTRAST = """
    const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
    const luminance = (colour) => parts(colour).slice(0, 3).map(part => part / 255).map(
        part => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4
    ).reduce((sum, part, i) => sum + part * [0.2126, 0.7152, 0.0722][i], 0);
    const behind = (element) => {
        for (let each = element; each; each = each.parentElement) {
            const colour = getComputedStyle(each).backgroundColor;
            if (parts(colour)[3] !== 0) return colour;
        }
        return 'rgb(255, 255, 255)';
    };
    d.querySelectorAll('details').forEach(each => { each.open = true; });
    const walker = d.createTreeWalker(d.body, NodeFilter.SHOW_TEXT);
    let least = [99, ''];
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
        const element = node.parentElement, style = getComputedStyle(element);
        if (!element.checkVisibility() || !node.data.trim() || element.closest('.grave')) continue;
        const front = luminance(element.closest('svg') ? style.fill : style.color);
        const back = luminance(behind(element));
        const contrast = (Math.max(front, back) + 0.05) / (Math.min(front, back) + 0.05);
        if (contrast < least[0]) least = [contrast, node.data];
    }
    return getComputedStyle(d.body).backgroundColor + ';' + least[0] + ';' + least[1];
"""

# As on A4, whose margins leave 184 mm: 695 px, and a scrollbar.
ON_PAPER = """
    for (const sheet of d.styleSheets) for (const rule of sheet.cssRules)
        if (rule.media?.mediaText === 'print') rule.media.mediaText = 'all';
    const [left, right] = [...d.querySelectorAll('.pair table')].map(
        table => table.getBoundingClientRect());
    return right.left - left.right > 8 && right.right <= d.documentElement.clientWidth;
"""

ALONE = """
    return [...d.querySelectorAll('table.stack')].every(table =>
        table.rows[1].lastElementChild.getBoundingClientRect().right
        > d.documentElement.clientWidth * 0.9);
"""

CONTRAST = Question(LEAST_CONTRAST, ("busy day", "month"))
QUESTIONS = {
    "too_wide": Question(
        TOO_WIDE, ("busy day", "month", "one reading", "hot day"), (320, 390, 768, 1280)
    ),
    "broken": Question(BROKEN, ("busy day", "month", "hot day"), (320, 390, 768)),
    "moved": Question(MOVED, ("busy day",)),
    "focused": Question(FOCUSED, ("hot day",)),
    "contrast": CONTRAST,
    "on_paper": Question(ON_PAPER, ("hot day",), (715,)),
    "alone": Question(ALONE, ("hot day",), (390,)),
}
LIGHT, DARK = (f"--blink-settings=preferredColorScheme={scheme}" for scheme in (1, 0))


@pytest.fixture(scope="module")
def light(pages: dict[str, Path]) -> Answers:
    return answers(pages, QUESTIONS, LIGHT)


def test_no_horizontal_scroll_at_any_width_and_no_word_on_the_console(
    pages: dict[str, Path], light: Answers
) -> None:
    too_wide = light.by_question["too_wide"]
    assert {name for name, _ in too_wide} == set(pages)
    assert too_wide == dict.fromkeys(too_wide, "0")
    assert light.console == []


def test_the_slider_starts_at_the_worst_moment_and_shows_any_other(light: Answers) -> None:
    (title,) = light.by_question["moved"].values()
    first, moved_to = title.replace("\N{NO-BREAK SPACE}", " ").split(" / ")
    assert first.startswith("12:0") and "27.0 °C" in first and "fan 100 % (too hot)" in first
    assert moved_to.startswith("00:01") and "18.0 °C" in moved_to and "lamp dark" in moved_to


def test_no_line_ends_between_a_number_and_its_unit(light: Answers) -> None:
    assert {name for name, _ in light.by_question["broken"]} == {"busy day", "hot day", "month"}
    for page, answer in light.by_question["broken"].items():
        seen, broken = answer.split(":", 1)
        assert int(seen) > 60, page
        assert broken == "", page


def test_the_keyboard_reaches_the_slider_whose_value_is_in_words(light: Answers) -> None:
    assert light.by_question["focused"] == {("hot day", 1280): "true 0 1 true true true true"}


def test_tables_side_by_side_on_paper_stand_apart(light: Answers) -> None:
    assert light.by_question["on_paper"] == {("hot day", 715): "true"}


def test_on_a_phone_the_last_cell_of_a_row_takes_the_width_that_is_left(light: Answers) -> None:
    assert light.by_question["alone"] == {("hot day", 390): "true"}


def test_every_text_contrasts_with_what_is_behind_it(
    pages: dict[str, Path], light: Answers
) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1."""
    dark = answers(pages, {"contrast": CONTRAST}, DARK)
    papers = set()
    for scheme in (light, dark):
        for name, answer in scheme.by_question["contrast"].items():
            paper, least, text = answer.split(";", 2)
            papers.add(paper)
            assert float(least) >= 4.5, (name, paper, text)
    assert len(papers) == 2


def test_the_page_asks_for_nothing_from_anywhere(pages: dict[str, Path]) -> None:
    for page in pages.values():
        text = page.read_text("utf-8").replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert "http://" not in text and "https://" not in text
        assert not re.search(r"\b(src|href)=", text)


def test_charts_have_names_descriptions_and_tables_beside_them(pages: dict[str, Path]) -> None:
    for name in ("busy day", "month"):
        text = pages[name].read_text("utf-8")
        charts = re.findall(r"<svg [^>]*role=\"img\"[^>]*>", text)
        assert len(charts) >= 2
        for chart in charts:
            named = re.search(r'aria-labelledby="([^"]+)"', chart)
            assert named is not None
            for identity in named[1].split():
                assert text.count(f'id="{identity}"') == 1
        assert text.count("<table") >= 5
        assert len(re.findall(r"<h1>", text)) == 1
        assert not re.search(r"<th(?! scope=)[ >]", text)
        identities = re.findall(r'\bid="([^"]+)"', text)
        assert len(identities) == len(set(identities))


def test_dark_and_light_are_both_readable(pages: dict[str, Path]) -> None:
    """WCAG 2.2, success criteria 1.4.3 and 1.4.11: 4.5 to 1 for text, 3 to 1 for lines."""
    style = re.search(r"<style>(.*?)</style>", pages["busy day"].read_text("utf-8"), re.DOTALL)
    assert style is not None
    light, dark = re.findall(r":root \{(.*?)\}", style[1], re.DOTALL)[:2]
    for block in (light, dark):
        colours = dict(re.findall(r"--([\w]+): (#[0-9a-f]{3,6})", block))
        for text in ("ink", "muted", "tent", "intake", "humid", "vpd"):
            assert contrast(colours[text], colours["paper"]) >= 4.5, text
        assert contrast(colours["muted"], colours["card"]) >= 4.5
        assert contrast(colours["paper"], colours["grave"]) >= 4.5
        for stroke in ("schedule", "too_hot", "too_humid", "too_cold", "band", "grave", "lamp"):
            assert contrast(colours[stroke], colours["paper"]) >= 3.0, stroke


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2, definition of relative luminance)."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    channels = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
