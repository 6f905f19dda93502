"""What SECURITY.md claims, as far as code can be asked."""

from __future__ import annotations

import ast
import functools
import re
import stat
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.config.model import file_stem
from controller.config.store import LastGood
from controller.daemon.control_socket import ControlSocket
from controller.locks import claim
from controller.record import RecordWriter, backup_record

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "systemd" / "SECURITY.md"


class Call(NamedTuple):
    """A call in the code: where, of what, with which first argument, whether `shell` is given."""

    place: str
    name: str
    first: str
    has_shell: bool


@functools.cache
def code() -> tuple[tuple[Call, ...], frozenset[str]]:
    """Every call by a plain name, and every module that the controller imports."""
    calls: list[Call] = []
    imported: set[str] = set()
    for folder in ("controller", "simulators"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and (name := dotted(node.func)):
                    first = dotted(node.args[0]) if node.args else ""
                    has_shell = any(keyword.arg == "shell" for keyword in node.keywords)
                    calls.append(Call(f"{path}:{node.lineno}", name, first, has_shell))
                elif folder == "controller" and isinstance(node, ast.Import):
                    imported.update(alias.name for alias in node.names)
                elif folder == "controller" and isinstance(node, ast.ImportFrom):
                    imported.add(node.module or "")
    return tuple(calls), frozenset(imported)


def dotted(node: ast.AST) -> str:
    """A name such as "socket.AF_UNIX"; empty for anything that is computed."""
    if isinstance(node, ast.Attribute):
        before = dotted(node.value)
        return before and f"{before}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


def test_the_code_runs_no_text() -> None:
    calls, imported = code()
    assert sum(call.name.startswith("subprocess.") for call in calls) > 3
    for call in calls:
        assert call.name not in ("eval", "exec", "os.system", "os.popen", "yaml.load"), call
        assert not (call.name.startswith("subprocess.") and call.has_shell), call
    assert not {"pickle", "marshal", "shelve"} & imported


def test_nothing_listens_on_a_network() -> None:
    calls, imported = code()
    sockets = [call for call in calls if call.name in ("socket.socket", "socket.socketpair")]
    assert sockets
    for call in sockets:
        # A pair is one of Unix sockets when nothing else is said (the library's reference).
        assert call.first == "socket.AF_UNIX" or call[1:3] == ("socket.socketpair", ""), call
    servers = ("http.server", "socketserver", "asyncio.start_server")
    assert not [call for call in calls if call.name.startswith(servers)]
    assert not {"http.server", "socketserver", "xmlrpc.server"} & imported


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_files_are_for_owner_and_group(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    path = tmp_path / "tent.sqlite3"
    with RecordWriter(path) as writer, claim(path):
        writer.event(0, "test.one")
        backup_record(path, tmp_path / "copy")
        assert mode(path) == 0o640
        assert mode(tmp_path / "tent.sqlite3-wal") == 0o640
        assert mode(tmp_path / "copy") == 0o640
        assert not mode(tmp_path / "tent.sqlite3.lock") & 0o022
    kept = LastGood(tmp_path / "tent.yaml")
    kept.keep("tent: {}\n")
    assert mode(kept.path) == 0o640
    control = ControlSocket(tmp_path / "run" / "t.sock", lambda: None)
    try:
        assert mode(control.path) == 0o660
        assert not mode(control.path.parent) & 0o007
    finally:
        control.close()


def test_the_copy_of_a_config_is_not_written_through_a_link(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    victim = tmp_path / "victim"
    victim.write_text("untouched", encoding="utf-8")
    kept = LastGood(tmp_path / "tent.yaml")
    kept.path.with_name(kept.path.name + ".new").symlink_to(victim)
    kept.path.symlink_to(victim)
    kept.keep("tent: {}\n")
    assert victim.read_text(encoding="utf-8") == "untouched"
    assert not kept.path.is_symlink()


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "/etc/passwd", "a\0b", "..", "", "тент", "a/b"]
)
def test_a_tents_name_never_leaves_the_directory(name: str) -> None:
    assert re.fullmatch(r"[a-z0-9-]+", file_stem(name))


def test_every_test_that_the_page_names_exists() -> None:
    sys.path.insert(0, str(ROOT / "tests" / "faults"))
    from policy import known_tests

    text = PAGE.read_text(encoding="utf-8")
    tests = set(re.findall(r"`(test_\w+)`", text))
    assert tests and tests <= set(known_tests())
    paths = re.findall(r"`((?:tests|systemd)/[\w/.]+)`", text)
    assert paths and [path for path in paths if not (ROOT / path).exists()] == []
