"""An edited config is read aside, and only a good one comes through."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
from daemon_builders import CONFIG

from controller.config import ConfigError, Loaded, load_settings
from controller.daemon.config_watch import ConfigWatch, Outcome


class Watched:
    """A config file and its watch."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.woken = threading.Event()
        path.write_text(CONFIG, encoding="utf-8")
        self.watch = ConfigWatch(path, load_settings(path).sha256, load_settings, self.woken.set)
        self._stamp = 1

    def edit(self, text: str) -> None:
        """Replace the file as an editor does, with a time of its own."""
        new = self.path.with_suffix(".new")
        new.write_text(text, encoding="utf-8")
        self._stamp += 1
        os.utime(new, (self._stamp, self._stamp))
        new.replace(self.path)

    def outcome(self) -> Outcome | None:
        """Look as ticks do: notice, see it settled and load, wait, take."""
        for _ in range(2):
            assert self.watch.look() is None
        if not self.woken.wait(60.0):
            return None
        self.woken.clear()
        while (thread := self.watch._thread) is not None and thread.is_alive():
            thread.join(60.0)
        return self.watch.look()


@pytest.fixture
def watched(tmp_path: Path) -> Watched:
    return Watched(tmp_path / "tent.yaml")


def test_an_untouched_file_is_left_alone(watched: Watched) -> None:
    assert [watched.watch.look() for _ in range(5)] == [None] * 5
    assert not watched.woken.is_set()


def test_an_edited_file_is_loaded(watched: Watched) -> None:
    watched.edit(CONFIG.replace("pre_run: 15 min", "pre_run: 40 min"))
    outcome = watched.outcome()
    assert isinstance(outcome, Loaded)
    assert outcome.settings.schedule.pre_run_s == 2400.0
    assert watched.watch.look() is None


def test_a_bad_edit_gives_its_problems_and_the_next_good_one_works(watched: Watched) -> None:
    watched.edit(CONFIG.replace("pre_run: 15 min", "pre_run: soon"))
    outcome = watched.outcome()
    assert isinstance(outcome, ConfigError)
    assert outcome.problems[0].line == 7
    watched.edit(CONFIG.replace("pre_run: 15 min", "pre_run: 1 h"))
    assert isinstance(watched.outcome(), Loaded)


def test_a_file_that_keeps_changing_is_waited_for(watched: Watched) -> None:
    for _ in range(5):
        watched.edit(CONFIG + f"# {watched._stamp}\n")
        assert watched.watch.look() is None
        assert watched.watch._thread is None


def test_a_deleted_file_changes_nothing(watched: Watched) -> None:
    watched.path.unlink()
    assert [watched.watch.look() for _ in range(5)] == [None] * 5
    assert watched.watch._thread is None


def test_the_good_text_put_back_after_a_bad_edit_is_news(watched: Watched) -> None:
    """Or the alarm of the bad edit would stand for ever."""
    watched.edit(CONFIG.replace("pre_run: 15 min", "pre_run: soon"))
    assert isinstance(watched.outcome(), ConfigError)
    watched.edit(CONFIG)
    assert isinstance(watched.outcome(), Loaded)


def test_a_file_that_stays_away_is_missed_once_and_its_return_is_news(watched: Watched) -> None:
    text = watched.path.read_text(encoding="utf-8")
    watched.path.unlink()
    looks = [watched.watch.look() for _ in range(28)]
    assert looks == [None] * 28
    missed = watched.outcome()
    assert isinstance(missed, ConfigError)
    assert "cannot be read" in str(missed)
    assert [watched.watch.look() for _ in range(100)] == [None] * 100
    watched.edit(text)
    assert isinstance(watched.outcome(), Loaded)


def test_a_signal_for_an_unchanged_file_is_no_news(watched: Watched) -> None:
    watched.watch.ask()
    assert watched.watch.look() is None
    assert watched.woken.wait(60.0)
    while (thread := watched.watch._thread) is not None and thread.is_alive():
        thread.join(60.0)
    assert watched.watch.look() is None
