"""Two works in threads: what they give, what they raise, and no interrupt while a lock is held."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller.review.side_by_side import side_by_side

ROOT = Path(__file__).parents[2]

# SIGTERM comes when the main thread has just taken the lock of a future whose work waits for that.
LOCKING = """\
import os, signal, sys, threading
from controller.interruption import raise_on_signals
from controller.review.side_by_side import side_by_side
sent = threading.Event()
lines = 0
def trace(frame, event, argument):
    global lines
    name, caller = frame.f_code.co_qualname, frame.f_back and frame.f_back.f_code.co_qualname
    lines += (name, event) == ("_AcquireFutures.__enter__", "line")  # the third: one is locked
    entered = (name, caller, event) == ("Condition.__enter__", "Future.result", "return")
    if (lines == 3 or entered) and not sent.is_set():
        sys.settrace(None)
        sent.set()
        os.kill(os.getpid(), signal.SIGTERM)
    return trace
raise_on_signals()
sys.settrace(trace)
try:
    side_by_side(sent.wait, sent.wait)
except KeyboardInterrupt:
    print("interrupted")
"""


def test_an_interrupt_never_comes_while_a_lock_is_held() -> None:
    run = subprocess.run(
        [sys.executable, "-c", LOCKING],
        capture_output=True, text=True, cwd=ROOT, timeout=60.0, check=True,
    )  # fmt: skip
    assert run.stdout == "interrupted\n"


def test_both_results_come_in_order() -> None:
    assert side_by_side(lambda: 1, lambda: "two") == (1, "two")


def test_what_a_work_raises_comes_when_both_have_ended() -> None:
    ended = []
    with pytest.raises(ZeroDivisionError):
        side_by_side(lambda: 1 // 0, lambda: ended.append(True))
    assert ended == [True]
