"""The progress bar: on a terminal only, and gone when the work is done."""

from __future__ import annotations

import io

import pytest

from controller.commands import progress
from controller.commands.progress import ProgressBar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    now = [100.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def test_a_terminal_sees_how_far_it_is_and_how_long_it_takes(clock: list[float]) -> None:
    screen = Terminal()
    with ProgressBar(200.0, screen) as bar:
        clock[0] += 10.0
        bar.show(50.0)
    assert "25%" in screen.getvalue()
    assert "30 s left" in screen.getvalue()
    assert screen.getvalue().endswith("\r\033[K")


def test_short_work_and_pipes_show_nothing(clock: list[float]) -> None:
    screen, pipe = Terminal(), io.StringIO()
    with ProgressBar(10.0, screen) as one, ProgressBar(10.0, pipe) as other:
        clock[0] += 0.2
        one.show(5.0)
        clock[0] += 60.0
        other.show(5.0)
    assert screen.getvalue() == pipe.getvalue() == ""
