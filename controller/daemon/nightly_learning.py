"""Learning the tent, and looking for a change, in a child process: the daemon grows by neither."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

from controller.errors import UserError

# Some seconds on a large machine, a minute on a small Pi that has other things to do.
_DEADLINE_S = 900.0


class NightlyLearning:
    """Runs `python -m controller.daemon.child` at the lowest priority, one at a time.

    Parameters
    ----------
    deadline_s : float
        How long the child may take [s].
    module : str
        What it runs: for tests.
    """

    def __init__(
        self, deadline_s: float = _DEADLINE_S, module: str = "controller.daemon.child"
    ) -> None:
        self._deadline_s = deadline_s
        self._module = module
        self._one_at_a_time = threading.Lock()
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._is_closed = False

    def __call__(self, record: Path) -> dict[str, object]:
        """Learn from a record under its newest config, and foresee tomorrow.

        Returns
        -------
        dict
            `learned`, or `refused` with why; and `tomorrow`.

        Raises
        ------
        UserError
            The child failed, or took too long.
        """
        return self._ask(record)

    def change(self, record: Path) -> dict[str, object]:
        """Look for a change within the last hours.

        Returns
        -------
        dict
            `change`, None where there is none; or `refused` with why.

        Raises
        ------
        UserError
            The child failed, or took too long.
        """
        return self._ask(record, "--change")

    def _ask(self, record: Path, *options: str) -> dict[str, object]:
        with self._one_at_a_time:
            return self._run(record, *options)

    def _run(self, record: Path, *options: str) -> dict[str, object]:
        home = str(Path(__file__).resolve().parents[2])
        search = os.pathsep.join(filter(None, (home, os.environ.get("PYTHONPATH"))))
        with self._lock:
            if self._is_closed:
                raise UserError("the daemon is stopping")
            self._child = subprocess.Popen(
                [sys.executable, "-P", "-m", self._module, str(record), *options],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": search},
            )
        try:
            out, err = self._child.communicate(timeout=self._deadline_s)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.communicate()
            raise UserError(f"not done within {self._deadline_s:g} s") from None
        return _answer(out, err, self._child.returncode)

    def close(self) -> None:
        """End the child, if there is one, and start no other."""
        with self._lock:
            self._is_closed = True
            if self._child is not None and self._child.poll() is None:
                self._child.kill()


def _answer(out: bytes, err: bytes, status: int) -> dict[str, object]:
    try:
        result: Any = json.loads(out)
    except ValueError:
        result = None
    if isinstance(result, dict) and result.keys() & {"learned", "refused", "change"}:
        return result
    last = err.decode("utf-8", "replace").strip().rpartition("\n")[2]
    raise UserError(f"the learning process failed: {last[:200] or f'exit status {status}'}")
