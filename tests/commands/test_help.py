"""The help of every command reads well on the narrowest usual terminal."""

from __future__ import annotations

import pytest

from controller.__main__ import COMMANDS, main


def help_of(command: str, capsys: pytest.CaptureFixture[str]) -> str:
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_help_fits_a_terminal_of_80_columns_and_shows_an_example(
    command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = help_of(command, capsys)
    assert [line for line in text.splitlines() if len(line) > 80] == []
    assert f"  lungwort {command} " in text[text.index("options:") :]


def test_paragraphs_fill_a_wide_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "110")
    assert max(len(line) for line in help_of("check", capsys).splitlines()) > 85
