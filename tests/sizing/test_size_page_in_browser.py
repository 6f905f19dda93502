"""The page of `size` in headless Chromium: no sideways scroll. Skipped where there is none."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from controller.__main__ import main

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here to look at pages with")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
EXAMPLES = Path(__file__).parents[2] / "config"
SIZES = ("--width", "80 cm", "--depth", "80 cm", "--height", "160 cm", "--lamp-power", "150 W")
CASES = (
    (str(EXAMPLES / "chillies.yaml"),),
    (str(EXAMPLES / "basil.yaml"),),
    SIZES,
    (*SIZES, "--free-flow", "187 m³/h", "--intake-temperature", "30 °C"),
)


def test_no_horizontal_scroll_at_any_width_and_no_word_on_the_console(tmp_path: Path) -> None:
    frames = ""
    for case in CASES:
        page = tmp_path / "size.html"
        assert main(["size", *case, "--html", str(page)]) == 0
        text = html.escape(page.read_text("utf-8"))
        frames += "".join(
            f'<iframe srcdoc="{text}" width="{width}"></iframe>' for width in (320, 390, 768, 1280)
        )
    probe = tmp_path / "probe.html"
    probe.write_text(
        f"<body>{frames}<p id=found></p><script>addEventListener('load', () => {{"
        "found.textContent = [...document.querySelectorAll('iframe')].map(f => f.width + ':' +"
        "(f.contentDocument.documentElement.scrollWidth -"
        " f.contentDocument.documentElement.clientWidth)).join(' ');"
        "});</script>",
        encoding="utf-8",
    )
    assert CHROMIUM is not None
    done = subprocess.run(
        [CHROMIUM, *FLAGS, f"--user-data-dir={tmp_path / 'profile'}", "--enable-logging=stderr",
         "--window-size=1400,900", "--dump-dom", str(probe)],
        capture_output=True, text=True, timeout=250, check=True,
    )  # fmt: skip
    found = re.search(r'id="found">([^<]*)<', done.stdout)
    assert found is not None
    assert found[1] == " ".join(["320:0 390:0 768:0 1280:0"] * len(CASES))
    assert [line for line in done.stderr.splitlines() if "CONSOLE" in line] == []
