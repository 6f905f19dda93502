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


def test_every_command_is_listed_with_its_words_beside_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    with pytest.raises(SystemExit):
        main(["--help"])
    words = [line.split() for line in capsys.readouterr().out.splitlines()]
    for command in COMMANDS:
        assert any(line[:1] == [command] and len(line) > 2 for line in words), command


def test_an_unknown_option_is_reported_with_the_help_that_lists_the_known(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["rehearse", "tent.yaml", "--html", "x.html"]) == 2
    shown = capsys.readouterr().err
    assert shown == (
        "lungwort rehearse: does not take --html x.html; see lungwort rehearse --help\n"
    )


def test_paragraphs_fill_a_wide_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "110")
    assert max(len(line) for line in help_of("check", capsys).splitlines()) > 85


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("chek", "there is no command 'chek'; check, perhaps"),
        ("Review", "review, perhaps"),
        ("simulate", "there is no command 'simulate'"),
        ("tent.yaml", "a config comes behind its command: lungwort check tent.yaml"),
        ("xyzzy", "expected one of air, size, new, check"),
    ],
)
def test_an_unknown_command_is_reported_with_the_one_that_was_meant(
    word: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([word, "--json"]) == 2
    shown = capsys.readouterr().err
    assert said in shown
    assert shown.count("\n") == 1
