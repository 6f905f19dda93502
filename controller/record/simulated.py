"""Records that a simulation wrote: no real tent's readings go into one."""

from __future__ import annotations

import os
from pathlib import Path

from controller.record.database import RecordError
from controller.record.faults import set_aside
from controller.record.reader import RecordReader
from controller.record.status import SIMULATED_KEY


def is_simulated(path: Path) -> bool:
    """Whether there is a record that a simulation wrote; one that can't be read is taken as none.

    Parameters
    ----------
    path : pathlib.Path
        The record.
    """
    if not os.path.isfile(path):  # noqa: PTH113 - never raises; opening a pipe would wait for ever
        return False
    try:
        with RecordReader(path) as reader:
            return reader.state(SIMULATED_KEY) is not None
    except RecordError:  # none yet, or one that the daemon sees to
        return False


def simulation_set_aside(path: Path, now_ms: int) -> Path | None:
    """Move a simulation's record out of a real tent's way.

    Left there it would lend the tent its made-up times: a clock behind the record counts as wrong.

    Parameters
    ----------
    path : pathlib.Path
        The tent's record; nobody writes it now.
    now_ms : int
        The present [Unix ms].

    Returns
    -------
    pathlib.Path or None
        Where it is now; None where there was none, or where it can't be moved.
    """
    return set_aside(path, now_ms, "simulated") if is_simulated(path) else None
