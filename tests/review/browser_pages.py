"""Pages of hand-made and simulated records, and a headless Chromium to look at them with."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import tempfile
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
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium here to look at pages with"
)
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
            timeout=250,
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


def write_pages(folder: Path) -> dict[str, Path]:
    """Write a page of every kind."""
    pages = {}
    for name, fill, asked in (
        ("busy day", busy_day, Asked()),
        ("month", weeks, Asked(length="4w")),
        ("one reading", lambda r: r.writer.reading(reading(r.at("12:00"))), Asked()),
    ):
        (folder / name).mkdir()
        record = HandRecord(folder / name)
        fill(record)
        pages[name] = folder / name / "page.html"
        pages[name].write_text(rendered(record, asked), encoding="utf-8")
    pages["hot day"] = folder / "hot.html"
    hot_day(folder / "hot.sqlite3", pages["hot day"])
    return pages


def answers(page: Path, script: str, *flags: str, widths: tuple[int, ...] = (1280,)) -> list[str]:
    """What a script says of a page at each width: the body of a function of its document `d`."""
    frames = "".join(
        f'<iframe srcdoc="{html.escape(page.read_text("utf-8"))}" width="{width}"></iframe>'
        for width in widths
    )
    probe = page.with_name("probe.html")
    probe.write_text(
        f"<body>{frames}<p id=answer></p><script>"
        f"const ask = (d) => {{{script}}};"
        "addEventListener('load', () => { answer.textContent ="
        "[...document.querySelectorAll('iframe')].map(f => ask(f.contentDocument)).join('\\n');"
        "});</script>",
        encoding="utf-8",
    )
    done = chromium(*flags, "--window-size=1400,900", "--dump-dom", str(probe))
    answer = re.search(r'id="answer">([^<]*)<', done.stdout)
    assert answer is not None
    return html.unescape(answer[1]).split("\n")
