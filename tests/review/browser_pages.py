"""Pages of hand-made and simulated records, and a headless Chromium to look at them with."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import NamedTuple

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
            timeout=120,
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


class Question(NamedTuple):
    """What is asked of pages.

    Attributes
    ----------
    script : str
        The body of a function of a page's document `d`; its answer is a text.
    names : tuple of str
        The pages that are asked.
    widths : tuple of int
        How wide they are shown [px].
    """

    script: str
    names: tuple[str, ...]
    widths: tuple[int, ...] = (1280,)


class Answers(NamedTuple):
    """What a browser said: of each question the answers by page and width, and its console."""

    by_question: dict[str, dict[tuple[str, int], str]]
    console: list[str]


def answers(pages: dict[str, Path], questions: dict[str, Question], *flags: str) -> Answers:
    """Ask one browser everything, since starting it costs more; each question has its own frames.

    Parameters
    ----------
    pages : dict of str to Path
        The pages by name.
    questions : dict of str to Question
        What is asked.
    *flags : str
        Of the browser.
    """
    asked = [
        (key, name, width)
        for key, question in questions.items()
        for name in question.names
        for width in question.widths
    ]
    texts = {name: html.escape(page.read_text("utf-8")) for name, page in pages.items()}
    frames = "".join(
        f'<iframe name="{key}" srcdoc="{texts[name]}" width="{width}"></iframe>'
        for key, name, width in asked
    )
    scripts = ", ".join(f"{key}: (d) => {{{each.script}}}" for key, each in questions.items())
    probe = pages[asked[0][1]].with_name("probe.html")
    probe.write_text(
        f"<body>{frames}<p id=answer></p><script>const ask = {{{scripts}}};"
        "addEventListener('load', () => { answer.textContent = JSON.stringify("
        "[...document.querySelectorAll('iframe')].map(f => `${ask[f.name](f.contentDocument)}`));"
        "});</script>",
        encoding="utf-8",
    )
    done = chromium(
        *flags, "--enable-logging=stderr", "--window-size=1400,900", "--dump-dom", str(probe)
    )
    answer = re.search(r'id="answer">([^<]+)<', done.stdout)
    assert answer is not None, done.stderr
    by_question: dict[str, dict[tuple[str, int], str]] = {key: {} for key in questions}
    for (key, name, width), text in zip(asked, json.loads(html.unescape(answer[1])), strict=True):
        by_question[key][name, width] = text
    return Answers(by_question, [line for line in done.stderr.splitlines() if "CONSOLE" in line])
