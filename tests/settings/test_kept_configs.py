"""A config that was found right before is not read again; whatever is doubtful is."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from settings_texts import GOOD, good

import controller
from controller.settings import ConfigError, Loaded, kept, load_settings, loader

ROOT = Path(__file__).parents[2]


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "tent.yaml"
    path.write_text(GOOD, encoding="utf-8")
    return path


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The files that were read with all that takes."""
    found: list[Path] = []
    real = loader.load

    def load(path: Path, name: str | None = None) -> Loaded:
        found.append(path)
        return real(path, name)

    monkeypatch.setattr(loader, "load", load)
    return found


def test_what_was_found_right_before_is_not_read_again(config: Path, read: list[Path]) -> None:
    first, second = load_settings(config), load_settings(config)
    assert read == [config]
    assert second == first


@pytest.mark.parametrize("example", sorted((ROOT / "config").glob("*.yaml")), ids=lambda p: p.stem)
def test_examples_are_recalled_as_they_were_read(example: Path, read: list[Path]) -> None:
    first, second = load_settings(example), load_settings(example)
    assert second == first and len(read) == 1
    assert [type(section) for section in vars(second.settings).values()] == [
        type(section) for section in vars(first.settings).values()
    ]


def test_a_byte_order_mark_is_no_hindrance(config: Path, read: list[Path]) -> None:
    config.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load_settings(config) == load_settings(config)
    assert len(read) == 1


def test_warnings_come_along_with_the_name_of_the_file(config: Path, tmp_path: Path) -> None:
    config.write_text(good(alarms="{cold: 20 °C}"), encoding="utf-8")
    first = load_settings(config).warnings
    assert first and load_settings(config).warnings == first
    other = tmp_path / "other.yaml"
    config.rename(other)
    assert {warning.file for warning in load_settings(other).warnings} == {str(other)}


def test_another_text_is_read(config: Path, read: list[Path]) -> None:
    load_settings(config)
    config.write_text(GOOD + "# x\n", encoding="utf-8")
    assert load_settings(config).text.endswith("# x\n")
    assert len(read) == 2


def test_who_asks_for_it_has_it_read_anew(config: Path, read: list[Path]) -> None:
    load_settings(config)
    load_settings(config, anew=True)
    assert len(read) == 2


def test_a_wrong_config_is_wrong_every_time(config: Path, kept_in: Path) -> None:
    config.write_text("tent: 5\n", encoding="utf-8")
    for _ in range(2):
        with pytest.raises(ConfigError, match="is not a section"):
            load_settings(config)
    assert not list(kept_in.rglob("*.json"))


@pytest.mark.parametrize(
    ("was", "now"),
    [
        (".*", ""),
        (".*", "{}"),
        (".*", "[" * 100_000 + "]" * 100_000),
        ('"width_m": 0.8', '"width_m": 1.8'),
        ('"width_m": 0.8', '"width_m": "x"'),
        ("Europe", "Nowhere"),
        ("^.", "x"),
        (".$", ""),
    ],
)
def test_a_damaged_file_is_not_believed(
    was: str, now: str, config: Path, kept_in: Path, read: list[Path]
) -> None:
    first = load_settings(config)
    (file,) = kept_in.rglob("*.json")
    text = file.read_text("utf-8")
    damaged = re.sub(was, now, text, count=1, flags=re.DOTALL)
    assert damaged != text
    file.write_text(damaged, encoding="utf-8")
    assert load_settings(config) == first
    assert load_settings(config) == first
    assert len(read) == 2  # and was written anew


@pytest.mark.parametrize("kind", ["pipe", "folder", "link to a device"])
def test_what_is_no_file_is_not_read(
    kind: str, config: Path, kept_in: Path, read: list[Path]
) -> None:
    first = load_settings(config)
    (file,) = kept_in.rglob("*.json")
    file.unlink()
    if kind == "pipe":
        os.mkfifo(file)
    elif kind == "folder":
        file.mkdir()
    else:
        file.symlink_to("/dev/zero")
    assert load_settings(config) == first
    assert len(read) == 2


def test_a_config_through_a_pipe_is_read_once(tmp_path: Path, kept_in: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_text, args=(GOOD,))
    writer.start()
    assert load_settings(pipe).text == GOOD
    writer.join()
    assert not list(kept_in.rglob("*.json"))


def test_a_home_that_is_not_there_is_not_made(
    config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "nowhere"))
    load_settings(config)
    assert not (tmp_path / "nowhere").exists()
    (tmp_path / "nowhere").mkdir()
    load_settings(config)
    assert len(list((tmp_path / "nowhere/.cache/lungwort/configs").iterdir())) == 1


def test_nothing_of_somebody_else_is_taken(
    config: Path, read: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    load_settings(config)
    monkeypatch.setattr(os, "geteuid", lambda: os.getuid() + 1)
    load_settings(config)
    assert len(read) == 2


def test_other_code_reads_for_itself(
    config: Path, read: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    load_settings(config)
    monkeypatch.setattr(kept, "_code", lambda: "another version")
    load_settings(config)
    assert len(read) == 2


def test_code_that_was_touched_is_other_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(ROOT / "controller", tmp_path / "controller")
    monkeypatch.setattr(controller, "__file__", str(tmp_path / "controller/__init__.py"))
    was = kept._code()
    assert kept._code() == was
    for name in ("settings/sections/fan.py", "settings/validate.py", "units.py"):
        os.utime(tmp_path / "controller" / name, ns=(1, 1))
        now = kept._code()
        assert now != was
        was = now


def test_all_code_that_a_config_comes_to_pass_by_is_looked_at() -> None:
    code = (
        "import sys, controller.settings.loader\n"
        "print(*(m.__file__ for n, m in sys.modules.items() if n.startswith('controller')))"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    files = [Path(name).relative_to(ROOT / "controller") for name in run.stdout.split()]
    assert len(files) > 30
    assert {str(file.parent) for file in files} == set(kept._CODE)


def test_a_zone_that_is_no_longer_there_has_the_text_read(
    config: Path, kept_in: Path, read: list[Path]
) -> None:
    load_settings(config)
    (file,) = kept_in.rglob("*.json")
    text = file.read_text("utf-8").partition("\n")[2].replace("Europe/Rome", "Europe/Nowhere")
    file.write_text(f"{kept._digest(text)}\n{text}", encoding="utf-8")
    assert load_settings(config).settings.place.timezone == "Europe/Rome"
    assert len(read) == 2


def test_every_kind_of_value_comes_back_as_it_was(config: Path) -> None:
    text = good(
        fan="{pin: 18, drive: pwm, curve: [[0 m³/h, 300 Pa], [187 m³/h, 0 Pa]]}",
        record="{path: a.sqlite3, backup_to: /mnt/copy.sqlite3}",
        notify="{command: /usr/local/bin/tell}",
    )
    config.write_text(text, encoding="utf-8")
    first, second = load_settings(config).settings, load_settings(config).settings
    assert second == first and repr(second) == repr(first)
    assert isinstance(second.record.path, Path) and isinstance(second.fan.curve, tuple)
    assert [type(point) for point in second.fan.curve] == [tuple, tuple]


def test_where_nothing_can_be_kept_all_is_read(
    config: Path, tmp_path: Path, read: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert load_settings(config) == load_settings(config)
    assert len(read) == 2


def test_what_was_edited_while_it_was_read_is_not_kept(config: Path, kept_in: Path) -> None:
    loaded = load_settings(config, anew=True)
    for file in kept_in.rglob("*.json"):
        file.unlink()
    config.write_text(GOOD + "# x\n", encoding="utf-8")
    kept.keep(loaded, config, str(config))
    assert not list(kept_in.rglob("*.json"))


def test_only_the_newest_are_kept(config: Path, kept_in: Path) -> None:
    for number in range(25):
        config.write_text(GOOD + f"# {number}\n", encoding="utf-8")
        load_settings(config)
    assert len(list(kept_in.rglob("*"))) == 22  # with the two folders
