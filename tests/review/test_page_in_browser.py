"""The page in headless Chromium: widths, console, dark, paper. Skipped where there is none."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from review_records import HandRecord, known_day, reading

from controller.__main__ import main
from controller.review.open_record import Asked, open_source
from controller.review.report import build
from controller.review.series import read_series
from controller.review.views.chart_events import find_chart_events
from controller.review.views.page import render_page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here to look at pages with")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


def chromium(*arguments: str) -> subprocess.CompletedProcess[str]:
    assert CHROMIUM is not None
    with tempfile.TemporaryDirectory(prefix="lungwort-browser-") as profile:
        return subprocess.run(
            [CHROMIUM, *FLAGS, f"--user-data-dir={profile}", *arguments],
            capture_output=True,
            text=True,
            timeout=100,
            check=True,
        )


def busy_day(record: HandRecord) -> None:
    """More of everything than a day usually has."""
    known_day(record)
    for hour in range(24):
        for minute, name in ((5, "sensor.failed"), (9, "sensor.recovered")):
            record.event(f"{hour:02d}:{minute:02d}", name, "warning", sensor="canopy", fault="dead")
        hot = {"rule": "too_hot", "quantity": "temperature", "unit": "°C"}
        record.event(f"{hour:02d}:20", "override.engaged", value=27.0, limit=25.0, **hot)
        record.event(f"{hour:02d}:50", "override.released", value=24.0, limit=25.0, **hot)
        record.event(f"{hour:02d}:30", "alarm.raised", "error", alarm=f"alarm_{hour}")
        record.event(f"{hour:02d}:45", "alarm.cleared", alarm=f"alarm_{hour}")
        record.event(f"{hour:02d}:55", "daemon.started")


def weeks(record: HandRecord) -> None:
    start = record.at("00:00")
    for hour in range(28 * 24):
        at_ms = start + hour * 3_600_000
        record.span(at_ms, at_ms + 3_600_000, 600.0, temperature=18.0 + hour % 24 * 0.5)


def hot_day(record: Path, page: Path) -> None:
    """A simulated day of the example config on which everything goes wrong, as users get it."""
    config = str(Path(__file__).parents[2] / "config" / "chillies.yaml")
    common = [config, "--record", str(record)]
    for command in (
        ["rehearse", *common, "--from", "2013-07-18", "--days", "1", "--faults", "fan-dead"],
        ["review", *common, "--html", str(page)],
    ):
        assert main(command) == 0


def rendered(record: HandRecord, asked: Asked) -> str:
    with open_source(record.loaded, record.path, asked) as source:
        review = build(source, record.loaded.settings)
        series = read_series(source, 720) if review.is_one_day else []
        chart_events, more = find_chart_events(source, review, 12) if review.is_one_day else ([], 0)
        return render_page(review, series, chart_events, more)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Path]]:
    folder = tmp_path_factory.mktemp("pages")
    found = {}
    for name, fill, asked in (
        ("busy day", busy_day, Asked()),
        ("month", weeks, Asked(length="4w")),
        ("one reading", lambda r: r.writer.reading(reading(r.at("12:00"))), Asked()),
    ):
        (folder / name).mkdir()
        record = HandRecord(folder / name)
        fill(record)
        found[name] = folder / name / "page.html"
        found[name].write_text(rendered(record, asked), encoding="utf-8")
    found["hot day"] = folder / "hot.html"
    hot_day(folder / "hot.sqlite3", found["hot day"])
    yield found


def test_no_horizontal_scroll_at_any_width_and_no_word_on_the_console(
    pages: dict[str, Path],
) -> None:
    frames = "".join(
        f'<iframe srcdoc="{html.escape(page.read_text("utf-8"))}" width="{width}"></iframe>'
        for page in pages.values()
        for width in (320, 390, 768, 1280)
    )
    probe = pages["month"].with_name("probe.html")
    probe.write_text(
        f"<body>{frames}<p id=found></p><script>addEventListener('load', () => {{"
        "found.textContent = [...document.querySelectorAll('iframe')].map(f => f.width + ':' +"
        "(f.contentDocument.documentElement.scrollWidth -"
        " f.contentDocument.documentElement.clientWidth)).join(' ');"
        "});</script>",
        encoding="utf-8",
    )
    done = chromium("--enable-logging=stderr", "--window-size=1400,900", "--dump-dom", str(probe))
    found = re.search(r'id="found">([^<]*)<', done.stdout)
    assert found is not None
    assert found[1] == " ".join(["320:0 390:0 768:0 1280:0"] * len(pages))
    assert [line for line in done.stderr.splitlines() if "CONSOLE" in line] == []


def test_the_cursor_tells_what_was_at_its_moment(pages: dict[str, Path]) -> None:
    probe = pages["busy day"].with_name("cursor.html")
    text = pages["busy day"].read_text("utf-8")
    moved = (
        "<script>const s = document.querySelector('#moment'); const first = "
        "document.querySelector('output').textContent; s.value = 0; "
        "s.dispatchEvent(new Event('input'));"
        "document.title = first + ' / ' + document.querySelector('output').textContent;</script>"
    )
    probe.write_text(text.replace("</body>", moved + "</body>"), encoding="utf-8")
    title = re.search(r"<title>([^<]*)</title>", chromium("--dump-dom", str(probe)).stdout)
    assert title is not None
    first, moved_to = title[1].split(" / ")
    assert first.startswith("12:0") and "27.0 °C" in first and "fan 100 % (too hot)" in first
    assert moved_to.startswith("00:01") and "18.0 °C" in moved_to and "lamp dark" in moved_to


@pytest.mark.parametrize(
    ("name", "paper"),
    [
        ("busy day", "letter"),
        ("busy day", "A4"),
        ("month", "letter"),
        ("hot day", "letter"),
        ("hot day", "A4"),
    ],
)
def test_it_prints_on_two_pages(
    pages: dict[str, Path], name: str, paper: str, tmp_path: Path
) -> None:
    copy = tmp_path / "page.html"
    text = pages[name].read_text("utf-8")
    copy.write_text(text.replace("@page {", f"@page {{ size: {paper};"), encoding="utf-8")
    target = tmp_path / "page.pdf"
    chromium("--no-pdf-header-footer", f"--print-to-pdf={target}", str(copy))
    assert len(re.findall(rb"/Type\s*/Page[^s]", target.read_bytes())) == 2


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
        for stroke in ("schedule", "too_hot", "too_humid", "too_cold", "band", "grave"):
            assert contrast(colours[stroke], colours["paper"]) >= 2.6, stroke


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
