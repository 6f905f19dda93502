"""Learning the tent, and looking for a change, in a child process: the daemon grows by neither."""

from __future__ import annotations

import json
import subprocess
import threading
from pathlib import Path
from typing import Any

from controller.child_process import last_line, module_command, module_environment
from controller.errors import UserError

# Some seconds on a large machine, a minute on a small Pi that has other things to do.
_DEADLINE_S = 900.0


class LearningProcess:
    """Runs `python -m controller.daemon.learning_child` at the lowest priority, one at a time.

    Parameters
    ----------
    deadline_s : float
        How long the child may take [s].
    module : str
        What it runs: for tests.
    """

    def __init__(
        self, deadline_s: float = _DEADLINE_S, module: str = "controller.daemon.learning_child"
    ) -> None:
        self._deadline_s = deadline_s
        self._module = module
        self._running = threading.Lock()  # one at a time
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
        return self._run(record)

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
        return self._run(record, "--change")

    def _run(self, record: Path, *options: str) -> dict[str, object]:
        with self._running:
            with self._lock:
                if self._is_closed:
                    raise UserError("the daemon is stopping")
                child = self._child = subprocess.Popen(
                    module_command(self._module, str(record), *options),
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE,
                    env=module_environment(),
                )
            try:
                out, err = child.communicate(timeout=self._deadline_s)
            except subprocess.TimeoutExpired:
                child.kill()
                child.communicate()
                raise UserError(f"not done within {self._deadline_s:g} s") from None
            return _answer(out, err, child.returncode)

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
    why = last_line(err)[:200] or f"exit status {status}"
    raise UserError(f"the learning process failed: {why}")
