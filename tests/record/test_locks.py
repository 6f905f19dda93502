"""One process per record and per pin, and nobody locked out by the dead."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pytest

from controller.errors import UserError
from controller.locks import AlreadyRunning, claim, claim_pins

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0

HOLD = """
import sys, time
from pathlib import Path
from controller.locks import claim
held = claim(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(600)
"""


def test_a_record_has_one_writer_and_the_second_is_reported_which(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    other = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    limit = threading.Timer(PATIENCE_S, other.kill)  # which ends the reading
    limit.start()
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n", "it never held the lock"
        with pytest.raises(AlreadyRunning, match=f"in use by process {other.pid}") as caught:
            claim(path)
        assert caught.value.status == 4
        # A killed process locks nobody out, though its lock file is still there.
        other.send_signal(signal.SIGKILL)
        other.wait(PATIENCE_S)
        claim(path).release()
    finally:
        limit.cancel()
        other.kill()
        other.communicate(timeout=PATIENCE_S)


def test_a_claim_ends_with_its_context_and_may_be_released_twice(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    with claim(path) as held:
        with pytest.raises(AlreadyRunning, match=f"process {os.getpid()}"):
            claim(path)
        held.release()
        claim(path).release()
    claim(path).release()


def test_two_names_of_one_record_are_one_record(tmp_path: Path) -> None:
    path, link = tmp_path / "tent.sqlite3", tmp_path / "link.sqlite3"
    path.touch()
    link.symlink_to(path)
    with claim(path), pytest.raises(AlreadyRunning):
        claim(link)


def test_two_records_are_none_of_each_others_business(tmp_path: Path) -> None:
    with claim(tmp_path / "a.sqlite3"), claim(tmp_path / "b.sqlite3"):
        pass


def test_pin_sets_that_overlap_collide_and_others_do_not(tmp_path: Path) -> None:
    with claim_pins(tmp_path, "gpiochip0", [12, 18]):
        with pytest.raises(AlreadyRunning, match="pin 18 of gpiochip0"):
            claim_pins(tmp_path, "gpiochip0", [17, 18])
        # All or none: 17 was let go again.
        with claim_pins(tmp_path, "gpiochip0", [17]), claim_pins(tmp_path, "gpiochip4", [18]):
            pass


def test_a_chip_named_like_a_path_stays_in_the_directory(tmp_path: Path) -> None:
    with claim_pins(tmp_path / "run", "../../etc/chip", [1]):
        assert [p.parent for p in tmp_path.rglob("*.lock")] == [tmp_path / "run"]


def test_a_lock_file_is_not_written_through_a_link(tmp_path: Path) -> None:
    target = tmp_path / "precious"
    target.write_text("keep me")
    (tmp_path / "tent.sqlite3.lock").symlink_to(target)
    with pytest.raises(UserError, match="cannot make the lock file"):
        claim(tmp_path / "tent.sqlite3")
    assert target.read_text() == "keep me"


def test_a_directory_that_cannot_be_made_is_reported(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(UserError, match=r"cannot make the lock file .*directory must exist"):
        claim(tmp_path / "file" / "tent.sqlite3")


def test_a_lock_file_of_another_user_can_still_be_locked() -> None:
    """Once run by hand with sudo, and the service would never start again."""
    if os.getuid() != 0:
        pytest.skip("needs root to become another user")
    with tempfile.TemporaryDirectory() as folder:  # pytest's own can't be entered by others
        Path(folder).chmod(0o755)
        path = Path(folder) / "tent.sqlite3"
        claim(path).release()
        child = os.fork()
        if child == 0:
            status = 1
            try:
                os.setgid(65534)
                os.setuid(65534)
                with claim(path), pytest.raises(AlreadyRunning):
                    claim(path)
                status = 0
            finally:
                os._exit(status)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
