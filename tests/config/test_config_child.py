"""The daemon's way to a config: a child process, so that it never imports YAML."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from settings_texts import GOOD, good, load

from controller.config import ConfigError, child, load_settings

HEAVY = ("pint", "yaml", "numpy", "jsonschema", "matplotlib")


def _modules_after(code: str) -> set[str]:
    run = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(run.stdout.split("\n")[-2].split())


@pytest.mark.parametrize(
    "code",
    [
        "import controller.config",
        "import controller.config.child, controller.config.quantities, controller.units",
        "import controller.display, controller.errors",
    ],
)
def test_the_types_import_nothing_heavy(code: str) -> None:
    assert not _modules_after(code) & set(HEAVY)


def test_loading_in_a_child_imports_nothing_heavy_either(tmp_path: Path) -> None:
    path = tmp_path / "tent.yaml"
    path.write_text(GOOD)
    code = f"from controller.config.child import load_in_child; load_in_child({str(path)!r})"
    modules = _modules_after(code)
    assert "controller.config.child" in modules
    assert not modules & {*HEAVY, "controller.config.load"}


def test_the_child_gives_what_loading_here_gives(tmp_path: Path) -> None:
    path = tmp_path / "tent.yaml"
    path.write_text(good(failsafe="{speed: 0 %}", targets="{day: {temperature: [70 °F, 75 °F]}}"))
    assert child.load_in_child(path) == load_settings(path)


@pytest.mark.parametrize("name", ["chillies", "basil", "all-keys"])
def test_settings_survive_the_way_from_the_child(name: str) -> None:
    path = Path(__file__).parents[2] / "config" / f"{name}.yaml"
    assert child.parse_answer(child.answer(path, str(path))) == load_settings(path)


def test_the_child_gives_every_problem_and_the_warnings(tmp_path: Path) -> None:
    path = tmp_path / "tent.yaml"
    path.write_text(good(failsafe="{speed: 0 %}", schedule="{pre_run: soon, run_on: 1}"))
    with pytest.raises(ConfigError) as here:
        load_settings(path)
    with pytest.raises(ConfigError) as there:
        child.load_in_child(path)
    assert there.value.problems == here.value.problems
    assert there.value.warnings == here.value.warnings


def test_a_relative_path_keeps_its_name_in_the_messages(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "tent.yaml").write_text("tent: 1\n")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ConfigError, match=r"^tent\.yaml:1:1: `fan` is missing"):
        child.load_in_child("tent.yaml")


def test_a_missing_file_is_reported_as_usual(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="cannot be read: No such file or directory"):
        child.load_in_child(tmp_path / "no.yaml")


def test_reading_that_never_ends_runs_into_the_deadline(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    os.mkfifo(tmp_path / "pipe")  # nobody ever writes to it
    stuck = tmp_path / "python"
    stuck.write_text(f"#!/bin/sh\nread line < {tmp_path}/pipe\n", encoding="utf-8")
    stuck.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(stuck))
    with pytest.raises(ConfigError, match=r"tent\.yaml: not read within 0\.5 s"):
        child.load_in_child(tmp_path / "tent.yaml", timeout_s=0.5)


def test_neither_pipe_nor_device_is_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "tent.yaml"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        with pytest.raises(ConfigError, match="it is a pipe or a device, not a file"):
            child.load_in_child(path)


def test_a_child_that_dies_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/bin/false")
    with pytest.raises(ConfigError, match="the reading process failed: exit status 1"):
        child.load_in_child(tmp_path / "tent.yaml")
    monkeypatch.setattr(sys, "executable", str(tmp_path / "no-python"))
    with pytest.raises(ConfigError, match="no process could be started"):
        child.load_in_child(tmp_path / "tent.yaml")


def test_the_child_works_within_a_bounded_address_space(tmp_path: Path) -> None:
    path = tmp_path / "tent.yaml"
    path.write_text(GOOD)
    code = (
        "import resource, sys\n"
        "from controller.config import __main__ as child\n"
        "status = child.main(sys.argv[1:])\n"
        "print(resource.getrlimit(resource.RLIMIT_AS)[0], file=sys.stderr)\n"
    )
    run = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, check=True)
    assert child.parse_answer(run.stdout) == load(GOOD)
    assert 0 < int(run.stderr) <= child.ADDRESS_SPACE_BYTES


def test_modules_beside_the_caller_are_not_imported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "yaml.py").write_text("raise SystemExit('wrong module')")
    path = tmp_path / "tent.yaml"
    path.write_text(GOOD)
    monkeypatch.chdir(tmp_path)
    assert child.load_in_child(path).settings == load(GOOD).settings
