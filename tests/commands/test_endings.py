"""How a command ends when it is interrupted, or nobody listens."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller.__main__ import main
from controller.commands import schema

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_a_closed_output_is_nobodys_fault(closed: str) -> None:
    command = f"'{sys.executable}' -m controller size config/basil.yaml {closed}"
    run = subprocess.run(["sh", "-c", command], cwd=ROOT, capture_output=True, text=True)
    assert run.returncode == 0
    assert "fault" not in run.stderr and "Traceback" not in run.stderr


def test_an_interruption_that_was_wrapped_is_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(args: object) -> int:
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt as error:
            raise RuntimeError("Error calling __set_name__") from error

    monkeypatch.setattr(schema, "run", interrupted)
    assert main(["schema"]) == 130
    assert capsys.readouterr() == ("", "lungwort: interrupted\n")
