"""A signal while SQLite runs a query ends the command; the record is not called damaged for it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller.record import RecordWriter

ROOT = Path(__file__).parents[2]

# The signal comes while SQLite asks how long the query may go on, and swallows what that raises.
ASKING = """\
import os, signal, sys
from pathlib import Path
from controller.interruption import Interrupted, raise_on_signals
from controller.record import RecordReader
sent = False
def trace(frame, event, argument):
    global sent
    if frame.f_code.co_qualname == "StepBudget._count" and not sent:
        sent = True
        os.kill(os.getpid(), getattr(signal, sys.argv[2]))
raise_on_signals()
with RecordReader(Path(sys.argv[1])) as reader:
    sys.settrace(trace)
    try:
        list(reader.sql("WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n "
                        "LIMIT 100000) SELECT count(*) FROM n"))
    except Interrupted as interrupt:
        print("interrupted by", interrupt.number)
"""


@pytest.mark.parametrize(("name", "number"), [("SIGINT", 2), ("SIGTERM", 15)])
def test_an_interrupt_that_sqlite_swallowed_comes_when_the_query_has_ended(
    tmp_path: Path, name: str, number: int
) -> None:
    RecordWriter(tmp_path / "r.sqlite3").close()
    run = subprocess.run(
        [sys.executable, "-c", ASKING, str(tmp_path / "r.sqlite3"), name],
        capture_output=True, text=True, cwd=ROOT, timeout=60.0, check=False,
    )  # fmt: skip
    assert run.stdout == f"interrupted by {number}\n", run.stderr
