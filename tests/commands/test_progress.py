"""The progress bar: on a terminal only, and gone when the work is done."""

from __future__ import annotations

import io
import os
import sys
import time

import pytest

from controller.commands.progress import LinesAbove, ProgressBar


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self) -> bool:
        return True

    def screen(self) -> str:
        """What a person sees in the last line."""
        shown = ""
        for text in self.getvalue().rpartition("\n")[2].split("\r"):
            shown = text + shown[len(text) :]
        return shown.rstrip()


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    now = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    return now


def test_a_terminal_sees_how_far_it_is_and_how_long_it_takes(clock: list[float]) -> None:
    terminal = Terminal()
    with ProgressBar(200.0, terminal) as bar:
        clock[0] += 10.0
        bar.show(50.0)
        assert terminal.screen().startswith("█")
        assert terminal.screen().endswith("  25%, 30 s left")
    assert terminal.screen() == ""


def test_simulated_days_are_counted(clock: list[float]) -> None:
    terminal = Terminal()
    with ProgressBar(30 * 86_400.0, terminal, in_days=True) as bar:
        clock[0] += 2.0
        bar.show(12.5 * 86_400.0)
        assert terminal.screen().endswith(" 42%, 12 of 30 days, 3 s left")


@pytest.mark.parametrize("columns", ["20", "40", "60", "80", "200"])
@pytest.mark.parametrize("share", [0.01, 0.2, 0.999])
def test_a_bar_leaves_the_last_column_free_and_sends_no_escape_code(
    clock: list[float], monkeypatch: pytest.MonkeyPatch, columns: str, share: float
) -> None:
    """In a full line a terminal goes on to the next, and every drawing would be a line more."""
    monkeypatch.setenv("COLUMNS", columns)
    terminal = Terminal()
    with ProgressBar(3650 * 86_400.0, terminal, in_days=True) as bar:
        for _ in range(5):
            clock[0] += 20.0
            bar.show(share * 3650 * 86_400.0)
    assert len(max(terminal.getvalue().split("\r"), key=len)) < max(int(columns), 22)
    assert "\x1b" not in terminal.getvalue()
    assert terminal.screen() == ""


def test_short_work_and_pipes_show_nothing(clock: list[float]) -> None:
    screen, pipe = Terminal(), io.StringIO()
    with ProgressBar(10.0, screen) as one, ProgressBar(10.0, pipe) as other:
        clock[0] += 0.2
        one.show(5.0)
        clock[0] += 60.0
        other.show(5.0)
    assert screen.getvalue() == pipe.getvalue() == ""


def test_a_dumb_terminal_gets_a_line_now_and_then(
    clock: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "dumb")
    terminal = Terminal()
    with ProgressBar(100.0, terminal) as bar:
        for done in range(1, 26):
            clock[0] += 1.0
            bar.show(float(done))
    assert terminal.getvalue() == "10%, 1 min 30 s left\n20%, 1 min 20 s left\n"


def test_lines_come_above_the_bar(clock: list[float]) -> None:
    terminal = Terminal()
    with ProgressBar(100.0, terminal) as bar:
        above = LinesAbove(terminal, bar)
        for done in (50.0, 60.0):
            clock[0] += 5.0
            bar.show(done)
            above.write(f"{done:g} done\n")
        clock[0] += 5.0
        bar.show(80.0)
        assert terminal.screen().endswith("80%, 4 s left")
    shown = [line.rpartition("\r")[2] for line in terminal.getvalue().split("\n")]
    assert shown == ["50 done", "60 done", ""]


def test_work_for_a_reader_who_has_gone_ends(
    clock: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    read_end, write_end = os.pipe()
    with open(write_end, "w") as pipe:  # noqa: PTH123
        monkeypatch.setattr(sys, "stdout", pipe)
        with ProgressBar(100.0, io.StringIO()) as bar:
            clock[0] += 1.0
            bar.show(10.0)
            os.close(read_end)
            clock[0] += 1.0
            with pytest.raises(BrokenPipeError):
                bar.show(20.0)
