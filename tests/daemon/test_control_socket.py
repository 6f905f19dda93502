"""A person's requests through the local socket."""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import socket
import stat
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.daemon.control_socket import ControlSocket, ask, runtime_directory, socket_path
from controller.errors import UserError


@pytest.fixture
def served(tmp_path: Path) -> Iterator[ControlSocket]:
    """A socket whose requests are answered with what was asked, as the tick would."""
    asked = threading.Event()
    control = ControlSocket(tmp_path / "run" / "t.sock", asked.set)
    done = threading.Event()

    def tick() -> None:
        while not done.is_set():
            asked.wait(0.05)
            asked.clear()
            for request in control.requests():
                if "fail" in request.body:
                    request.answer(error="no")
                else:
                    request.answer(echo=request.body)

    thread = threading.Thread(target=tick)
    thread.start()
    yield control
    done.set()
    asked.set()
    thread.join()
    control.close()


def test_a_request_is_answered(served: ControlSocket) -> None:
    assert ask(served.path, {"command": "hold", "speed": 0.4}) == {
        "echo": {"command": "hold", "speed": 0.4}
    }


def test_an_error_reaches_the_person(served: ControlSocket) -> None:
    with pytest.raises(UserError, match=r"^no$"):
        ask(served.path, {"fail": True})


@pytest.mark.parametrize(
    "line",
    [b"nonsense\n", b"[1]\n", b"\n", b'"x"\n', b"x" * 4200 + b"\n", b"[" * 4000 + b"\n"],
)
def test_nonsense_gets_an_error_and_does_no_harm(served: ControlSocket, line: bytes) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        connection.settimeout(60.0)
        connection.connect(str(served.path))
        connection.sendall(line)
        assert b"error" in connection.recv(4096)
    assert ask(served.path, {"command": "x"})["echo"] == {"command": "x"}


def test_one_who_never_ends_his_line_keeps_nobody_out_for_long(
    served: ControlSocket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("controller.daemon.control_socket._PATIENCE_S", 0.2)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as slow:
        slow.settimeout(60.0)
        slow.connect(str(served.path))
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            while not select.select([slow], [], [], 0.01)[0]:  # until the daemon hangs up
                slow.send(b" ")
    monkeypatch.undo()
    assert ask(served.path, {"command": "x"})["echo"] == {"command": "x"}


def test_the_socket_is_for_its_owner_and_group_only(served: ControlSocket) -> None:
    assert stat.S_IMODE(served.path.stat().st_mode) == 0o660


def test_no_daemon_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no daemon runs this config"):
        ask(tmp_path / "none.sock", {})


def test_a_socket_left_by_a_dead_daemon_is_replaced(tmp_path: Path) -> None:
    path = tmp_path / "t.sock"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as left:
        left.bind(str(path))
    control = ControlSocket(path, lambda: None)
    control.close()
    assert not path.exists()


def test_a_path_too_long_for_a_socket_is_said(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="longer than 107 bytes"):
        ControlSocket(tmp_path / ("x" * 120), lambda: None)


def test_a_directory_of_somebody_else_is_refused(tmp_path: Path) -> None:
    if os.getuid() != 0:
        pytest.skip("needs root to give a directory away")
    theirs = tmp_path / "theirs"
    theirs.mkdir()
    os.chown(theirs, 12345, 12345)
    with pytest.raises(UserError, match="belongs to another user"):
        ControlSocket(theirs / "t.sock", lambda: None)


def test_the_socket_is_named_after_the_record(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", "/run/somewhere")
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/lungwort")
    assert socket_path(Path("/var/lib/lungwort/chillies.sqlite3")) == Path(
        "/run/somewhere/chillies.sock"
    )
    assert runtime_directory() == Path("/run/somewhere")


def test_records_of_one_name_in_two_places_have_two_sockets(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/lungwort")
    real = socket_path(Path("/var/lib/lungwort/chillies.sqlite3"))
    trial = socket_path(tmp_path / "chillies.sqlite3")
    another = socket_path(tmp_path / "another" / "chillies.sqlite3")
    assert len({real, trial, another}) == 3
    (tmp_path / "link").symlink_to(tmp_path)
    assert socket_path(tmp_path / "link" / "chillies.sqlite3") == trial


def test_whoever_waits_while_the_daemon_stops_hears_so(tmp_path: Path) -> None:
    asked = threading.Event()
    control = ControlSocket(tmp_path / "t.sock", asked.set)
    said: list[str] = []

    def person() -> None:
        try:
            ask(control.path, {"command": "release"})
        except UserError as error:
            said.append(error.message)

    thread = threading.Thread(target=person)
    thread.start()
    assert asked.wait(60.0)
    control.close()
    thread.join(60.0)
    assert said == ["the daemon is stopping"]


def test_a_socket_that_was_deleted_is_made_again(tmp_path: Path) -> None:
    path = tmp_path / "run" / "tent.sock"
    woken = threading.Event()
    control = ControlSocket(path, woken.set, look_every_s=0.01)
    try:
        shutil.rmtree(path.parent)
        answers: list[dict[str, Any]] = []

        def person() -> None:
            while not answers:
                with contextlib.suppress(UserError):  # not listening yet
                    answers.append(ask(path, {"command": "release"}))

        asking = threading.Thread(target=person, daemon=True)
        asking.start()
        assert woken.wait(30.0)
        control.requests()[0].answer(released=False)
        asking.join(30.0)
        assert answers == [{"released": False}]
    finally:
        control.close()
    assert not path.exists()
