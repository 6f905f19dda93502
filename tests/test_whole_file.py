"""A file is there whole or not at all; what is no file is left what it is."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from controller.errors import UserError
from controller.whole_file import whole_file


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    target = tmp_path / "day.html"
    for text in ("one", "two"):
        with whole_file(target) as part:
            part.write_text(text)
        assert target.read_text() == text
    assert list(tmp_path.iterdir()) == [target]


def test_what_fails_leaves_the_old_one(tmp_path: Path) -> None:
    target = tmp_path / "day.html"
    target.write_text("old")
    with pytest.raises(RuntimeError), whole_file(target) as part:
        part.write_text("half")
        raise RuntimeError
    full = r"cannot write the page .*day\.html: No space left"
    with pytest.raises(UserError, match=full), whole_file(target, "the page "):
        raise OSError(28, "No space left on device")
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


def test_two_writers_do_not_meet(tmp_path: Path) -> None:
    target = tmp_path / "day.html"
    with whole_file(target) as one:
        one.write_text("one")
        with whole_file(target) as other:
            other.write_text("other")
        assert target.read_text() == "other"
    assert target.read_text() == "one"
    assert list(tmp_path.iterdir()) == [target]


def test_a_new_file_has_the_mode_of_one(tmp_path: Path) -> None:
    umask = os.umask(0o027)
    try:
        with whole_file(tmp_path / "day.html") as part:
            part.write_text("x")
    finally:
        os.umask(umask)
    assert stat.S_IMODE((tmp_path / "day.html").stat().st_mode) == 0o640


def test_links_that_go_round_do_no_harm(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    try:
        with whole_file(tmp_path / "a") as part:
            part.write_text("x")
    except UserError:
        return
    assert (tmp_path / "a").read_text() == "x"


def test_what_a_link_points_to_is_replaced_not_the_link(tmp_path: Path) -> None:
    target, link = tmp_path / "day.html", tmp_path / "newest.html"
    target.write_text("old")
    link.symlink_to(target)
    with whole_file(link) as part:
        part.write_text("new")
    assert link.is_symlink() and target.read_text() == "new"


def test_a_pipe_is_written_to(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    heard: list[str] = []
    reader = threading.Thread(target=lambda: heard.append(pipe.read_text()), daemon=True)
    reader.start()
    with whole_file(pipe) as part:
        part.write_text("a page")
    reader.join(60.0)
    assert not reader.is_alive(), "the pipe was never written to and closed"
    assert heard == ["a page"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_folder_is_called_one(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="it is a folder; name a file"), whole_file(tmp_path):
        pass
    missing = tmp_path / "no" / "day.html"
    with (
        pytest.raises(UserError, match=r"cannot write .*No such file"),
        whole_file(missing) as part,
    ):
        part.write_text("x")
