"""What a config is read from: a file, or an input that a shell hands over."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from settings_texts import GOOD

from controller.config import ConfigError, load_settings


def refused(path: Path) -> str:
    with pytest.raises(ConfigError) as caught:
        load_settings(path)
    (problem,) = caught.value.problems
    assert problem.file == str(path)
    return problem.message


def test_a_pipe_that_nobody_writes_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "tent.yaml"
    os.mkfifo(pipe)
    assert "pipe or a device, not a file" in refused(pipe)


def test_a_device_is_refused() -> None:
    assert "pipe or a device, not a file" in refused(Path("/dev/zero"))


def test_a_folder_is_refused(tmp_path: Path) -> None:
    assert "Is a directory" in refused(tmp_path)


def test_a_link_to_a_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "real.yaml").write_text(GOOD, encoding="utf-8")
    link = tmp_path / "tent.yaml"
    link.symlink_to("real.yaml")
    assert load_settings(link).text == GOOD


def test_an_input_that_the_shell_hands_over_is_read() -> None:
    end, other = os.pipe()
    os.write(other, GOOD.encode())
    os.close(other)
    try:
        assert load_settings(Path(f"/dev/fd/{end}")).text == GOOD
    finally:
        os.close(end)
